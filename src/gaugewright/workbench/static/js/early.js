// Runs before the first paint, so that a dark or a sunlight screen never flashes.
(() => {
  const theme = localStorage.getItem("gw-theme");
  if (theme && theme !== "auto") document.documentElement.dataset.theme = theme;
})();
