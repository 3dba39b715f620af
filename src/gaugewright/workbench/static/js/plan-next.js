// On the Pour stage: what the next pour would still teach.

import { request, Unreachable } from "./api.js";
import { volume } from "./say.js";
import { onSheet, sheet } from "./sheet.js";

onSheet(async () => {
  const place = document.querySelector("[data-next-action]");
  if (!place) return;
  try {
    const { ok, data } = await request("GET", sheet().dataset.api + place.dataset.nextAction);
    if (!ok || data.error_now_l === null || !place.isConnected) return;
    const values = { litres: volume(data.add_l ?? 0), now: volume(data.error_now_l), then: volume(data.error_then_l ?? 0) };
    const text = data.add_l === null ? place.dataset.noMore : place.dataset.pays;
    place.textContent = text.replace(/\{(\w+)\}/g, (_, name) => values[name]);
    place.hidden = false;
  } catch (error) {
    if (!(error instanceof Unreachable)) throw error;
  }
});
