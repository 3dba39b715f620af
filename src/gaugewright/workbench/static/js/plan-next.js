// On the Pour stage: what the next pour, or a check, would still teach.

import { request, Unreachable } from "./api.js";
import { plain, volume } from "./say.js";
import { onSheet, sheet } from "./sheet.js";

onSheet(async () => {
  const place = document.querySelector("[data-next-action]");
  if (!place) return;
  try {
    const { ok, data } = await request("GET", sheet().dataset.api + place.dataset.nextAction);
    if (!ok || data.error_now_l === null || !place.isConnected) return;
    const filled = (text, choice) => {
      const values = {
        now: volume(data.error_now_l, 2),
        what: choice?.what,
        then: choice && volume(choice.error_then_l, 2),
        minutes: choice && plain(choice.minutes),
      };
      return text.replace(/\{(\w+)\}/g, (_, name) => values[name]);
    };
    const [best, ...others] = data.choices;
    const said = [best?.pays ? filled(place.dataset.pays, best) : filled(place.dataset.nothing)];
    if (data.add_l === null && best?.pays) said.push(place.dataset.noMore);
    place.textContent = said.join(" ");
    place.hidden = false;
    const rest = best?.pays ? others : data.choices;
    const box = document.querySelector('[data-part="next-choices"]');
    box.hidden = !rest.length;
    box.querySelector("ul").replaceChildren(
      ...rest.map((each) => Object.assign(document.createElement("li"), { textContent: filled(each.pays ? place.dataset.or : place.dataset.hardly, each) })),
    );
  } catch (error) {
    if (!(error instanceof Unreachable)) throw error;
  }
});
