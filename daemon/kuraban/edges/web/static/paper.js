/* Keeps an open page up to date, and says how old it is what it shows. */
"use strict";
(() => {
  const find = (what) => document.querySelector(what), lost = find("#lost"), words = lost.dataset;
  /* The watch's own time: how far the clock of this machine is from it, the page knows. */
  const who = find("meta[name=who]").dataset;
  const set = (watch) => { who.apart = Date.now() / 1000 - watch; };
  set(who.watch);

  const grow = () => {
    for (const one of document.querySelectorAll("[data-at]")) {
      const age = Date.now() / 1000 - who.apart - one.dataset.at;
      one.textContent = age < 90 ? words.now : age < 3600
        ? words.minutes.replace("{n}", Math.round(age / 60)) : one.dataset.since;
    }
  };
  setInterval(grow, 5000);

  const live = document.body.dataset.live;
  if (!live || !window.EventSource) return;
  const DEAF = 30000, AGAIN = 5000;
  let heard = Date.now(), news;
  const gone = (is, why = words.lost) => {
    lost.hidden = !is;
    if (is && lost.textContent !== why) lost.textContent = why;
    document.body.classList.toggle("gone", is);
  };
  const hear = () => { heard = Date.now(); gone(false); };

  /* Whatever holds the caret stays; everything about it is new. */
  const put = (part, html) => {
    const held = document.activeElement;
    if (part.contains(held)) {
      const fresh = document.createElement("template");
      fresh.innerHTML = html;
      const now = [...part.children], then = [...fresh.content.children];
      const kept = now.findIndex((child) => child.contains(held)), more = now.length - kept;
      now.slice(0, kept).forEach((child) => child.remove());
      now.slice(kept + 1).forEach((child) => child.remove());
      now[kept].before(...then.slice(0, Math.max(then.length - more, 0)));
      now[kept].after(...then.slice(then.length - more + 1));
    } else part.innerHTML = html;
  };

  const ask = async () => { // why it does not answer: the visit may have ended
    const answer = await fetch(location.href, { redirect: "manual", cache: "no-store" }).catch(() => null);
    const out = answer && (answer.type === "opaqueredirect" || [401, 403].includes(answer.status));
    gone(true, out ? words.out : words.lost);
  };
  const listen = () => {
    news = new EventSource(live);
    news.onopen = () => { hear(); window.dispatchEvent(new Event("online")); };
    news.addEventListener("beat", hear);
    news.onmessage = (event) => {
      hear();
      if (event.lastEventId) set(event.lastEventId);
      for (const [id, html] of Object.entries(JSON.parse(event.data))) {
        const part = document.getElementById(id);
        if (!part) { location.reload(); return; }
        put(part, html);
      }
      grow();
    };
    news.onerror = () => {
      ask();
      if (news.readyState === EventSource.CLOSED) setTimeout(listen, AGAIN);
    };
  };
  listen();
  setInterval(() => { if (Date.now() - heard > DEAF && lost.hidden) gone(true); }, 1000);
})();
