// What the plan says: the cut, what the probe sees, and the pours that pay.

import { length, part, words } from "./plan-form.js";
import { plain, volume } from "./say.js";

/** Say how long the probe is and what it will see. */
export function showFacts(layout) {
  const { probe } = layout;
  const facts = [
    ["cut", `${length(probe.cut_length_mm)} ± ${length(1.96 * probe.u_cut_length_mm)}`],
    ["touch", words(probe.bottom_verdict)],
    ["clear", words("at-least", { length: length(probe.tip_clearance_mm), least: length(probe.least_tip_clearance_mm) })],
    ...standOffFacts(layout),
    ...seenFacts(layout),
    ["headroom", words("headroom-both", { upright: length(layout.headroom.upright_mm), leaning: length(layout.headroom.leaning_mm) })],
  ];
  const { draining } = layout;
  if (draining) {
    const cans = draining.containers.map((c) => `${plain(c.count)} × ${c.name}`).join(", ");
    facts.push(["drain", words("drain-how", { cans, kg: plain(draining.total_kg), minutes: plain(draining.minutes) })]);
  }
  part("facts").replaceChildren(...facts.flatMap(([key, value]) => [made("dt", words(key)), made("dd", value)]));
  showPerDegree(layout.slope?.per_degree ?? []);
  part("notes").replaceChildren(...layout.notes.map((note) => made("li", note)));
  if (part("cut-words")) part("cut-words").textContent = words("cut-words", { length: length(probe.cut_length_mm) });
}

/** The second way to the cut, where the stand-off was measured. */
function standOffFacts({ stand_off: other }) {
  if (!other) return [];
  const values = {
    length: length(other.cut_length_mm),
    band: length(1.96 * other.u_cut_length_mm),
    clear: length(other.tip_clearance_mm),
    apart: length(Math.abs(other.apart_mm)),
  };
  return [["stand-off", words(other.agrees ? "stand-off-agrees" : "stand-off-differs", values)]];
}

/** What the probe will see; without a shape only a guess at the dead stock. */
function seenFacts(layout) {
  const per = layout.litres_per_count;
  if (!per) {
    const band = volume(1.96 * layout.u_dead_stock_l, 0);
    return [
      ["dead", words("dead-guess", { litres: volume(layout.dead_stock_l, 0), band })],
      ["per-count", words("shape-open")],
    ];
  }
  return [
    ["dead", volume(layout.dead_stock_l)],
    ["blind", volume(layout.blind_above_l)],
    ["per-count", `${volume(per.least, 3)} – ${volume(per.most, 3)}`],
    ["visible", volume(layout.smallest_visible_l, 2)],
  ];
}

/** What one degree of slope misreads at each level. */
function showPerDegree(levels) {
  const rows = levels.map((each) => [length(each.level_mm), volume(each.litres, 0), volume(each.pitch_l, 2), volume(each.roll_l, 2)]);
  part("per-degree").replaceChildren(scrolled(tableOf(["level", "filled", "pitch", "roll"], rows), words("per-degree")));
}

/** A table in a box that scrolls sideways where the screen is too narrow for it. */
function scrolled(table, label) {
  const box = made("div", "", { class: "scroll", tabindex: "0", role: "region", "aria-label": label });
  box.append(table);
  return box;
}

function tableOf(heads, rows, firstClass = "") {
  const table = made("table", "");
  const [thead, tbody, top] = [made("thead", ""), made("tbody", ""), made("tr", "")];
  top.append(...heads.map((key) => made("th", words(key), { scope: "col" })));
  thead.append(top);
  for (const cells of rows) {
    const row = made("tr", "");
    row.append(...cells.map((text, k) => made("td", text, k || !firstClass ? {} : { class: firstClass })));
    tbody.append(row);
  }
  table.append(thead, tbody);
  return table;
}

function made(name, text, attributes = {}) {
  const element = document.createElement(name);
  element.textContent = text;
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  return element;
}

/** Show the ranked actions and what they come to. */
export function showRanked(plan) {
  const rows = plan.actions.map((action) => [action.what, volume(action.error_left_l), plain(action.minutes)]);
  const table = tableOf(["do", "left-open", "minutes"], rows, "words");
  const all = {
    pours: plain(plan.pours.length), litres: volume(plan.fuel_needed_l, 0), minutes: plain(plan.minutes), error: volume(plan.error_left_l),
  };
  part("ranked").replaceChildren(made("p", words("in-all", all)), scrolled(table, words("ranked")), made("p", words("ends", { why: plan.why_it_ends })));
}
