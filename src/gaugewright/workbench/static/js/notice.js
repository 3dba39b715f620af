// The one line under the stages that says what has to be known at once.

let timer = 0;

/** Show a notice; `kind` is offline, kept, newer or well. A good one goes away by itself. */
export function notice(kind, text) {
  const place = document.getElementById("notice");
  clearTimeout(timer);
  if (place.textContent !== text) place.textContent = text;
  place.className = kind;
  if (kind === "well") timer = setTimeout(() => clear("well"), 6000);
}

/** Take a notice of that kind away. */
export function clear(kind) {
  const place = document.getElementById("notice");
  if (place.className !== kind) return;
  place.textContent = "";
  place.className = "";
}
