"""Kinds of journal entry in plain words."""

from collections.abc import Mapping

from gaugewright.words import Said, said

NAMES: Mapping[str, Said] = {
    "job_opened": said("the job's opening"),
    "facts_changed": said("facts of the survey"),
    "facts_corrected": said("corrected facts of the survey"),
    "tank_described": said("a tank's description"),
    "tank_removed": said("a tank's removal"),
    "tanks_linked": said("tanks joined"),
    "tanks_unlinked": said("tanks parted"),
    "caution_acknowledged": said("a caution read"),
    "photo_added": said("a photo"),
    "note_added": said("a note"),
    "plan_recorded": said("a plan"),
    "wiring_recorded": said("the wiring"),
    "bench_zero_recorded": said("a zero on the bench"),
    "bench_span_recorded": said("a span on the bench"),
    "bench_repeat_recorded": said("a second dip on the bench"),
    "bench_reading_voided": said("a voided reading of the bench"),
    "mount_item_done": said("a point of the mounting"),
    "mount_item_reopened": said("a point of the mounting opened again"),
    "fill_begun": said("a fill's beginning"),
    "fill_checks_changed": said("checks beside the pours"),
    "pour_recorded": said("a pour"),
    "pour_placed": said("a pour placed afterwards"),
    "pour_voided": said("a voided pour"),
    "finding_answered": said("an answer to a finding"),
    "table_made": said("a table"),
    "table_accepted": said("an accepted table"),
    "check_pour_recorded": said("a check pour"),
    "back_office_compared": said("a look at the back office"),
    "check_voided": said("a voided check"),
    "seal_set": said("a seal"),
    "seal_removed": said("a removed seal"),
    "certificate_issued": said("a certificate"),
    "certificate_withdrawn": said("a withdrawn certificate"),
    "stage_finished": said("a finished stage"),
    "stage_reopened": said("a stage opened again"),
    "recipe_chosen": said("a recipe"),
    "copied_back": said("a copy from the other system"),
    "copy_accepted": said("an accepted copy"),
    "arrival_checked": said("a check of what arrives"),
    "later_begun": said("the beginning of later pours"),
    "later_pour_recorded": said("a later pour"),
    "later_pour_voided": said("a voided later pour"),
    "later_concluded": said("what later pours show"),
    "sister_proposed": said("a sister tank's table"),
    "table_carried": said("a newer version of the table"),
    "log_watched": said("a log"),
    "seen_event_explained": said("an explained event of a log"),
    "explanation_withdrawn": said("a withdrawn explanation"),
}
"""As each stands in a sentence."""


def entry_name(kind: str) -> Said:
    """Return what an entry is, in the words of a page; of a later version's only that it is one.

    >>> entry_name("later_pour_recorded"), entry_name("pour_blessed")
    ('a later pour', 'an entry')
    """
    return NAMES.get(kind, said("an entry"))
