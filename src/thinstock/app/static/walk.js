// The walk through the machine: the keys of a clicker turn it, as the links do.

const turn = { ArrowRight: "next", PageDown: "next", ArrowLeft: "prev", PageUp: "prev" };
addEventListener("keydown", (event) => {
  if (event.altKey || event.ctrlKey || event.metaKey || event.target.closest?.("input, select, textarea")) return;
  const link = turn[event.key] && document.querySelector(`.turn a[rel="${turn[event.key]}"]`);
  if (!link) return;
  event.preventDefault();
  link.click();
});
document.documentElement.dataset.ready = "1";
