/* Keeps an open page up to date. */
"use strict";
(() => {
  const lost = document.querySelector("#lost"), live = document.body.dataset.live;
  if (!live || !window.EventSource) return;
  const news = new EventSource(live);
  news.onopen = () => { lost.hidden = true; window.dispatchEvent(new Event("online")); };
  news.onerror = () => { lost.hidden = false; };
  news.onmessage = (event) => {
    for (const [id, html] of Object.entries(JSON.parse(event.data))) {
      const part = document.getElementById(id);
      if (!part) { location.reload(); return; }
      if (!part.contains(document.activeElement)) part.innerHTML = html;
    }
  };
})();
