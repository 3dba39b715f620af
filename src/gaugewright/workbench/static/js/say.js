// Words and figures: the words come with the page, in its language.

/** The words for a key, with {names} filled in. */
export function say(key, values = {}) {
  const found = document.getElementById("says")?.content.querySelector(`[data-say="${key}"]`);
  if (!found) throw new Error(`no words for ${key}`);
  return found.textContent.replace(/\{(\w+)\}/g, (_, name) => String(values[name] ?? ""));
}

/** Several words under one key, such as the reasons that are offered as buttons. */
export function sayAll(key) {
  return [...document.getElementById("says").content.querySelectorAll(`[data-say="${key}"]`)].map(
    (found) => found.textContent,
  );
}

/** Litres of one unit. */
export const LITRES = { L: 1, "US gal": 3.785411784, "imp gal": 4.54609 };

/** A figure with thousands apart by a narrow no-break space and the page's decimal mark. */
export function plain(value, decimals = 0) {
  if (value === null || value === undefined || !Number.isFinite(value)) return "–";
  const [whole, rest] = Math.abs(value).toFixed(decimals).split(".");
  const grouped = whole.replace(/\B(?=(\d{3})+$)/g, "\u202f");
  const sign = value < 0 && /[1-9]/.test(whole + (rest ?? "")) ? "\u2212" : "";
  return sign + grouped + (rest ? document.documentElement.dataset.decimal + rest : "");
}

/** A volume in the book's unit, unit behind. */
export function volume(litres, decimals = 1) {
  const unit = document.documentElement.dataset.volume;
  return `${plain(litres / LITRES[unit], decimals)}\u00a0${unit}`;
}

/** A length in the book's unit, unit behind. */
export function length(mm) {
  const unit = document.documentElement.dataset.length;
  return unit === "in" ? `${plain(mm / 25.4, 2)}\u00a0in` : `${plain(mm)}\u00a0mm`;
}

/** An age: tenths under a minute, then minutes, then hours. */
export function age(seconds) {
  if (seconds < 60) return `${plain(seconds, 1)}\u00a0s`;
  if (seconds < 3600) return `${plain(Math.floor(seconds / 60))}\u00a0min`;
  return `${plain(seconds / 3600, 1)}\u00a0h`;
}

const WITH_UNIT = new Set(["US gal", "imp gal", "in", "°F"]);

/** What was typed, with the field's unit behind where a bare figure would mean another one. */
export function typed(input) {
  const text = input.value.trim();
  const unit = input.dataset.unit ?? "";
  return /^[\d.,+\-\u2212\s]+$/.test(text) && WITH_UNIT.has(unit) ? `${text} ${unit}` : text;
}
