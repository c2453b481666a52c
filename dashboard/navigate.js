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

// Mends what the frame around our pages draws so that it cannot be read aloud as it is: a place to
// drop files that says it is for show only, and the marks of a window drawn over a chart, which have
// no name. Each chart has its sentence and its table.
(() => {
  if (window.wearAtlasMends) return;
  window.wearAtlasMends = true;
  const mend = () => {
    document.querySelectorAll('[data-testid="stFileUploaderDropzone"][role="presentation"]')
      .forEach((place) => place.removeAttribute("role"));
    document.querySelectorAll('g[class*="_brush"][role]:not([aria-hidden])')
      .forEach((mark) => mark.setAttribute("aria-hidden", "true"));
  };
  let due = false;
  new MutationObserver(() => {
    if (due) return;
    due = true;
    requestAnimationFrame(() => { due = false; mend(); });
  }).observe(document.body, { childList: true, subtree: true });
  mend();
})();
