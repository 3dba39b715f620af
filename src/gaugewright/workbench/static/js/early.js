// Runs before the first paint, so that a dark or a sunlight screen never flashes.
(() => {
  const theme = localStorage.getItem("gw-theme");
  if (theme && theme !== "auto") document.documentElement.dataset.theme = theme;
})();

// A press may come before the page's own code: it is held, and sent as soon as that is there.
(() => {
  const held = new Map();
  const hold = (event) => {
    if (!event.target.dataset.form) return;
    event.preventDefault();
    held.set(event.target, event.submitter);
  };
  document.addEventListener("submit", hold, true);
  globalThis.sendHeld = () => {
    document.removeEventListener("submit", hold, true);
    for (const [form, button] of held) form.requestSubmit(button);
  };

  const pressed = new Set();
  const press = (event) => {
    const button = event.target.closest?.('button[type="button"]');
    if (!button) return;
    event.stopImmediatePropagation();
    pressed.add(button);
  };
  document.addEventListener("click", press, true);
  // By then every script of the page has run.
  document.addEventListener("DOMContentLoaded", () => {
    document.removeEventListener("click", press, true);
    for (const button of pressed) button.click();
  });
})();
