// The pad to sign on: strokes as whole numbers on a pad of 1000 by 300.

import { request, Unreachable } from "./api.js";
import { busy, complain } from "./ask.js";
import { send } from "./forms.js";
import { say } from "./say.js";
import { handlers, onSheet } from "./sheet.js";

const WIDE = 1000;
const TALL = 300;
const MOST_STROKES = 200;
const MOST_POINTS = 4000;

// Kept beside the sheet: it may be drawn anew while somebody signs.
let strokes = [];
let isDown = false;

const pad = () => document.querySelector("canvas[data-pad]");

function place(event) {
  const box = event.target.getBoundingClientRect();
  const x = Math.round(((event.clientX - box.left) / box.width) * WIDE);
  const y = Math.round(((event.clientY - box.top) / box.height) * TALL);
  return [Math.min(Math.max(x, 0), WIDE), Math.min(Math.max(y, 0), TALL)];
}

function draw() {
  const canvas = pad();
  if (!canvas) return;
  const pen = canvas.getContext("2d");
  pen.clearRect(0, 0, WIDE, TALL);
  pen.strokeStyle = getComputedStyle(canvas).color;
  pen.lineWidth = 5;
  pen.lineCap = "round";
  pen.lineJoin = "round";
  for (const stroke of strokes) {
    pen.beginPath();
    pen.moveTo(stroke[0], stroke[1]);
    if (stroke.length === 2) pen.lineTo(stroke[0] + 0.5, stroke[1]);
    for (let k = 2; k < stroke.length; k += 2) pen.lineTo(stroke[k], stroke[k + 1]);
    pen.stroke();
  }
}

function points() {
  return strokes.reduce((sum, stroke) => sum + stroke.length / 2, 0);
}

document.addEventListener("pointerdown", (event) => {
  if (event.target !== pad() || strokes.length >= MOST_STROKES || points() >= MOST_POINTS) return;
  event.preventDefault();
  event.target.setPointerCapture(event.pointerId);
  isDown = true;
  strokes.push(place(event));
  draw();
});

document.addEventListener("pointermove", (event) => {
  if (!isDown || event.target !== pad() || points() >= MOST_POINTS) return;
  const stroke = strokes.at(-1);
  const [x, y] = place(event);
  // A step of less than the pen's own width adds nothing to see.
  if (Math.hypot(x - stroke.at(-2), y - stroke.at(-1)) < 4) return;
  stroke.push(x, y);
  draw();
});

for (const end of ["pointerup", "pointercancel"]) {
  document.addEventListener(end, () => {
    isDown = false;
  });
}

async function issue(form) {
  await send(form, strokes.length ? { strokes } : {});
  if (!pad()) strokes = [];
}

/** Send a file to be checked and show, one by one, what was looked at. */
async function verify(form) {
  const [file] = form.elements.file.files;
  const list = form.querySelector('[data-part="checks"]');
  if (!file) return;
  list.replaceChildren();
  busy(form, true);
  try {
    const answer = await request("POST", "/api/verify", file);
    complain(form, answer.ok ? null : answer.data);
    if (!answer.ok) return;
    const { checks, is_unaltered: isRight, certificate, job, last_hash: hash } = answer.data;
    const words = isRight ? form.dataset.good : form.dataset.bad;
    const said = words.replace("{certificate}", certificate).replace("{job}", job);
    const all = [...checks, { is_right: isRight, said: isRight ? `${said} ${hash}` : said }];
    list.replaceChildren(...all.map(shown));
  } catch (error) {
    if (!(error instanceof Unreachable)) throw error;
    complain(form, { error: say("offline") });
  } finally {
    busy(form, false);
  }
}

function shown({ is_right: isRight, said }) {
  const item = document.createElement("li");
  const sign = document.createElement("span");
  sign.textContent = isRight === null ? "◌ " : isRight ? "■ " : "⬣ ";
  sign.className = isRight === null ? "soft" : isRight ? "good" : "stop";
  sign.setAttribute("aria-hidden", "true");
  item.append(sign, said);
  return item;
}

Object.assign(handlers, { certificate: issue, verify });

document.addEventListener("click", (event) => {
  if (event.target.closest("button")?.dataset.do !== "clear-pad") return;
  strokes = [];
  draw();
});

onSheet(draw);
