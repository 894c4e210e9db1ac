// Light or dark paper: as the system has it, or as chosen. Runs before the page is drawn.
(() => {
  const key = "thinstock-paper";
  let chosen = "auto";
  try { chosen = localStorage.getItem(key) || "auto"; } catch { /* no storage: as the system */ }
  const set = (value) => {
    if (value === "auto") delete document.documentElement.dataset.paper;
    else document.documentElement.dataset.paper = value;
  };
  set(chosen);
  addEventListener("DOMContentLoaded", () => {
    const select = document.getElementById("paper");
    if (!select) return;
    select.value = chosen;
    select.addEventListener("change", () => {
      set(select.value);
      try { localStorage.setItem(key, select.value); } catch { /* not kept */ }
      dispatchEvent(new Event("paper"));
    });
  });
})();
