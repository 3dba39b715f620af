// Axes of the drawing of a log: round litres, round times of the log's zone.

const STEPS_S = [1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 10800, 21600, 43200, 86400, 172800, 604800, 1209600];
const MONTH_STEPS = [1, 2, 3, 6, 12, 24, 60];
const two = (n) => String(n).padStart(2, "0");

/** A straight scale from values to places. */
export function axis(low, high, start, stop) {
  const slope = (stop - start) / (high > low ? high - low : 1);
  const at = (value) => start + (value - low) * slope;
  at.back = (place) => low + (place - start) / slope;
  return at;
}

/** A step of 1, 2 or 5 times a power of ten that parts a span into at most so many. */
export function roundStep(span, most) {
  const raw = span / most;
  const ten = 10 ** Math.floor(Math.log10(raw));
  return ten * [1, 2, 5, 10].find((each) => each * ten >= raw * (1 - 1e-9));
}

/** The zone whose clock is shown. */
export let zone = "UTC";
let parts = null;

/** Show the clock of this zone; UTC where the browser does not know it. */
export function showZone(name) {
  try {
    parts = new Intl.DateTimeFormat("en-US", { timeZone: name, hourCycle: "h23", year: "numeric", month: "numeric", day: "numeric", hour: "numeric", minute: "numeric", second: "numeric" });
    zone = name;
  } catch (error) {
    if (!(error instanceof RangeError)) throw error;
    [parts, zone] = [null, "UTC"];
  }
}

/** How far the zone's clock is ahead of UTC. [s] */
function ahead(seconds) {
  if (!parts || zone === "UTC") return 0;
  const whole = Math.floor(seconds);
  const at = Object.fromEntries(parts.formatToParts(new Date(whole * 1000)).map((each) => [each.type, Number(each.value)]));
  return Date.UTC(at.year, at.month - 1, at.day, at.hour, at.minute, at.second) / 1000 - whole;
}

/** The moment at which the zone's clock shows what a clock in UTC shows at these seconds. */
function momentOf(shown) {
  const near = shown - ahead(shown);
  return shown - ahead(near);
}

/** Day and clock of seconds since 1970; seconds only where they are asked for. */
export const clock = (seconds, hasSeconds = false) => written(seconds + ahead(seconds), hasSeconds);

function written(shown, hasSeconds = false) {
  const at = new Date(shown * 1000);
  const day = `${at.getUTCFullYear()}-${two(at.getUTCMonth() + 1)}-${two(at.getUTCDate())}`;
  const time = `${two(at.getUTCHours())}:${two(at.getUTCMinutes())}`;
  return `${day} ${time}${hasSeconds ? `:${two(at.getUTCSeconds())}` : ""}`;
}

/** Round times between two, at most about so many: {s, label}. */
export function timeTicks(from, to, most) {
  const step = STEPS_S.find((each) => (to - from) / each <= most);
  if (!step) return months(from, to, most);
  const day = 86400;
  // 1970-01-05 was a Monday: weeks are counted from there, so that marks stay where they are.
  const base = step > day ? 4 * day : 0;
  const ticks = [];
  const first = Math.ceil((from + ahead(from) - base) / step) * step + base;
  for (let shown = first; shown <= to + ahead(to); shown += step) ticks.push({ s: momentOf(shown), label: label(shown, step) });
  return ticks.filter(({ s }) => s >= from && s <= to);
}

function label(shown, step) {
  const at = written(shown, true);
  if (step >= 86400 || (shown % 86400 === 0 && step >= 21600)) return at.slice(5, 10);
  return step >= 60 ? at.slice(11, 16) : at.slice(11);
}

function months(from, to, most) {
  const step = MONTH_STEPS.find((each) => (to - from) / (each * 2629800) <= most) ?? 120;
  const first = new Date((from + ahead(from)) * 1000);
  let count = first.getUTCFullYear() * 12 + first.getUTCMonth();
  count -= count % step;
  const ticks = [];
  for (;;) {
    const shown = Date.UTC(Math.floor(count / 12), count % 12) / 1000;
    const s = momentOf(shown);
    if (s > to) return ticks;
    if (s >= from) ticks.push({ s, label: written(shown).slice(0, step < 12 ? 7 : 4) });
    count += step;
  }
}
