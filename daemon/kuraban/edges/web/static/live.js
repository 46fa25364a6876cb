/* Puts what the watch tells into the open page. */
"use strict";
(() => {
  const { live } = document.body.dataset, AGAIN = 5000, LOOKS = 60000;
  const parts = () => document.querySelectorAll("[data-anew]"), known = new Map();
  for (const part of parts()) known.set(part.id, part.innerHTML);
  const tell = (name, detail) => dispatchEvent(new CustomEvent(name, { detail }));
  let edition;

  /* What is being typed, whatever holds the caret, and what was unfolded, stays as it is. */
  const typed = (part) => [...part.querySelectorAll("input:not([type=hidden]), select")].some((one) =>
    one.dataset.typed || (one.type === "text" && one.value !== one.defaultValue));
  addEventListener("input", ({ target }) => { target.dataset.typed = 1; });
  const put = (part, html) => {
    const held = document.activeElement, fresh = document.createElement("template");
    fresh.innerHTML = html;
    for (const old of part.querySelectorAll("details[id]")) {
      const same = fresh.content.getElementById(old.id);
      if (same) same.open = old.open;
    }
    const within = [...part.children].find((child) => child.contains(held));
    if (!within) { part.replaceChildren(fresh.content); return; }
    const now = [...part.children], then = [...fresh.content.children];
    const kept = now.indexOf(within), more = now.length - kept;
    now.forEach((child) => { if (child !== within) child.remove(); });
    within.before(...then.slice(0, Math.max(then.length - more, 0)));
    within.after(...then.slice(then.length - more + 1));
  };
  const renew = async () => { // all that has no part of its own, from the page as it is now
    const answer = await fetch(location.href, { cache: "no-store" });
    if (!answer.ok || answer.redirected) return;
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    for (const part of parts()) {
      const then = page.getElementById(part.id)?.innerHTML;
      if (then === undefined) part.remove();
      else if (!typed(part) && then !== known.get(part.id)) { put(part, then); known.set(part.id, then); }
    }
    put(document.getElementById("as-of"), page.getElementById("as-of").innerHTML);
    tell("heard");
    tell("renewed");
  };
  const ask = async () => { // why it does not answer: the visit may have ended
    const answer = await fetch(location.href, { redirect: "manual", cache: "no-store" }).catch(() => null);
    const out = answer && (answer.type === "opaqueredirect" || [401, 403].includes(answer.status));
    tell("unheard", out ? "out" : "lost");
  };
  const listen = () => {
    const news = new EventSource(live);
    news.onopen = () => { tell("heard"); tell("online"); };
    news.addEventListener("beat", () => tell("heard"));
    news.onmessage = (event) => {
      const { anew, ...parts } = JSON.parse(event.data);
      for (const [id, html] of Object.entries(parts)) {
        const part = document.getElementById(id);
        if (part) put(part, html);
      }
      const count = parts.ringing;
      if (count !== undefined) document.title = (count && `(${count}) `) + document.title.replace(/^\(\d+\) /, "");
      if (anew && edition && anew !== edition) renew().catch(() => {});
      edition = anew || edition;
      tell("heard", event.lastEventId);
    };
    news.onerror = () => {
      ask();
      if (news.readyState === EventSource.CLOSED) setTimeout(listen, AGAIN);
    };
  };
  if (live && window.EventSource) listen();
  else if (parts().length) setInterval(() => renew().catch(() => {}), LOOKS);
})();
