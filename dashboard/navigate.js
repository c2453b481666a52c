// Follows links between the dashboard's own pages without loading everything again.
// The links are plain addresses: without this script they still work, only more slowly.
(() => {
  if (window.wearAtlasNavigates) return;
  window.wearAtlasNavigates = true;
  const pane = () => document.querySelector('[data-testid="stMain"]');

  document.addEventListener("click", (press) => {
    const link = press.target.closest && press.target.closest("a[data-within]");
    const plain = press.button === 0 && !press.ctrlKey && !press.metaKey && !press.shiftKey && !press.altKey;
    if (!link || !plain || press.defaultPrevented) return;
    press.preventDefault();
    // Where the reader stood on this page, for Back.
    history.replaceState({ ...history.state, stoodAt: pane()?.scrollTop ?? 0 }, "");
    history.pushState({}, "", link.href);
    window.dispatchEvent(new PopStateEvent("popstate", { state: {} }));
    pane()?.scrollTo(0, 0);
  });

  window.addEventListener("popstate", (event) => {
    const goal = event.state?.stoodAt;
    if (!goal) return;
    let tries = 40; // the page fills by and by: try for two seconds
    const timer = setInterval(() => {
      const main = pane();
      main?.scrollTo(0, goal);
      if (--tries === 0 || (main && Math.abs(main.scrollTop - goal) < 2)) clearInterval(timer);
    }, 50);
  });
})();
