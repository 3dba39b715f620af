// What waits on this device, at the form in which it was pressed, and the same in every tab.

import { named } from "./ask.js";
import { back } from "./live.js";
import { clear, notice } from "./notice.js";
import { isFree, isOf, jobOf, onOutbox, sendAgain, takeBack, waiting } from "./outbox.js";
import { say } from "./say.js";
import { onSheet, restore, sheet } from "./sheet.js";

let told = "";

const formOf = (item) => [...document.querySelectorAll("form[data-form]")].find((form) => isOf(item, form));

function show() {
  for (const old of document.querySelectorAll("[data-waits]")) old.remove();
  const items = waiting();
  for (const item of items) {
    const form = formOf(item);
    if (form) form.before(block(item, form));
    else if (item.refused || jobOf(item) === sheet().dataset.api) document.getElementById("box").append(block(item));
  }
  if (items.length) notice("kept", say(items.some((item) => item.refused) ? "kept-refused" : "waiting-to-send"));
  else clear("kept");
}

function block(item, form) {
  const made = document.createElement("section");
  made.className = item.refused ? "outcome stop" : "outcome";
  made.dataset.waits = item.body.request_id;
  const words = document.createElement("p");
  const row = document.createElement("div");
  row.className = "row";
  const what = item.what ?? item.title ?? "";
  if (item.refused) {
    const { error, field } = item.refused;
    const input = form && field && form.elements[field];
    words.textContent = `⬣ ${say("refused", { what, why: input ? named(input, error) : error })}`;
  } else words.textContent = `◌ ${say("waits", { what })}`;
  made.append(words, row);
  if (new URL(item.page).pathname !== location.pathname) {
    const link = document.createElement("a");
    link.className = "button alt";
    link.href = item.page;
    link.textContent = item.title ?? item.page;
    row.append(link);
    return made;
  }
  if (item.refused) {
    row.append(
      button("send-again", () => {
        sendAgain(item, Number(sheet().dataset.number));
        back();
      }),
    );
  }
  row.append(button("take-back", () => letGo(item, words)));
  return made;
}

function button(word, action) {
  const made = document.createElement("button");
  made.type = "button";
  made.className = "alt";
  made.textContent = say(word);
  made.addEventListener("click", action);
  return made;
}

/** Figures that have no field to go back to are gone: that is said once, a second press goes on. */
function letGo(item, words) {
  const { request_id: id } = item.body;
  if (!isFree(item) && told !== id) {
    told = id;
    words.textContent = `▲ ${say("let-go", { what: item.what ?? "" })}`;
    return;
  }
  const form = isFree(item) && formOf(item);
  if (takeBack(item) && form) restore(form);
}

onSheet(show);
onOutbox(show);
