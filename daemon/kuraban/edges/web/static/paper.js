/* Keeps an open page up to date, and keeps what was tapped until the watch has it. */
"use strict";
(() => {
  const find = (query, within = document) => within.querySelector(query);
  const live = document.body.dataset.live;
  if (live && window.EventSource) {
    const news = new EventSource(live);
    news.onopen = () => { find("#lost").hidden = true; send(); };
    news.onerror = () => { find("#lost").hidden = false; };
    news.onmessage = (event) => {
      for (const [id, html] of Object.entries(JSON.parse(event.data))) {
        const part = document.getElementById(id);
        if (!part) { location.reload(); return; }
        if (!part.contains(document.activeElement)) part.innerHTML = html;
      }
    };
  }

  /* Taps, by who made them: on a tablet of many each waits until that person is signed in. */
  const KEY = "kuraban untold", box = find("#untold"), who = find("meta[name=who]");
  if (!box) return; // the page of an answer link has none
  const { watch, name, accounts } = who.dataset, words = box.dataset;
  const anyones = (tap) => !accounts || (who.content && tap.by === undefined);
  const mine = (tap) => anyones(tap) || (who.content && tap.by === who.content);
  const untold = () => JSON.parse(localStorage.getItem(KEY) || "[]");
  const keep = (taps) => { localStorage.setItem(KEY, JSON.stringify(taps)); show(taps); };
  const drop = (id) => keep(untold().filter((tap) => tap.fields.id !== id));
  const refuse = (id, reason) => keep(untold().map(
    (tap) => (tap.fields.id === id ? { ...tap, refused: reason } : tap)));
  const made = () => Array.from(crypto.getRandomValues(new Uint8Array(16)),
    (byte) => byte.toString(16).padStart(2, "0")).join("");

  /* The watch's own time: how far the clock of this machine is from it, the page knows. */
  const apart = Date.now() / 1000 - watch;
  const now = () => Date.now() / 1000 - apart;

  const state = (tap) => {
    if (tap.refused) return words.refused.replace("{reason}", tap.refused);
    return mine(tap) ? "" : words.whose.replace("{who}", tap.name || "?");
  };
  function show(taps) {
    box.hidden = !taps.length;
    find("b", box).textContent = taps.length;
    find("ul", box).replaceChildren(...taps.map((tap) => {
      const line = find("template", box).content.cloneNode(true), buttons = find("span", line);
      find("i", line).textContent = [tap.label, state(tap)].filter(Boolean).join(": ");
      buttons.hidden = !mine(tap) || !(tap.refused || tap.by === undefined);
      find(".again", line).onclick = () => look(tap);
      find(".forget", line).onclick = () => drop(tap.fields.id);
      return line;
    }));
  }
  /* As a form without script would have sent it: the page that follows says what is wrong. */
  function look(tap) {
    const form = document.body.appendChild(document.createElement("form"));
    Object.assign(form, { method: "post", action: tap.to, hidden: true });
    for (const [key, value] of Object.entries({ ...tap.fields, token: find("meta[name=token]").content })) {
      form.append(Object.assign(document.createElement("input"), { name: key, value }));
    }
    form.submit();
  }

  /* Whether it was kept, why it was refused, {} to try again later, nothing without the watch. */
  const LATER = [401, 408, 409, 429];
  const tell = async (tap) => {
    const token = find("meta[name=token]").content;
    try {
      const answer = await fetch(tap.to, {
        method: "POST",
        body: new URLSearchParams({ ...tap.fields, token }),
        headers: { accept: "application/json", "x-kuraban-token": token },
        signal: AbortSignal.timeout(8000),
      });
      if (answer.ok) return { kept: true };
      if (LATER.includes(answer.status) || answer.status >= 500) return {};
      if (answer.status === 403) return { refused: words.forbidden };
      const said = await answer.json().catch(() => ({}));
      return { refused: said.reason || said.detail || `${answer.status}`, asked: true };
    } catch { return null; }
  };
  const settle = (tap, told) => {
    if (told?.kept) drop(tap.fields.id);
    else if (told?.refused) refuse(tap.fields.id, told.refused);
  };
  let sending = false;
  async function send() {
    if (sending) return;
    sending = true;
    for (const tap of untold().filter((one) => one.by !== undefined && mine(one) && !one.refused)) {
      const told = await tell(tap);
      if (!told) break;
      settle(tap, told);
    }
    sending = false;
  }

  document.addEventListener("submit", async (event) => {
    const form = event.target;
    if (!form.matches("form.tap")) return;
    event.preventDefault();
    const { token, ...typed } = Object.fromEntries(new FormData(form)), button = find("button", form);
    const fields = { ...typed, id: made(), maker: who.content };
    if (!fields.when) fields.tapped = now();
    const label = [find("h1")?.textContent, button.textContent].filter(Boolean).join(", ");
    const tap = { to: form.getAttribute("action"), by: who.content, name, label, fields };
    button.disabled = true;
    keep([...untold(), tap]);
    const told = await tell(tap);
    settle(tap, told);
    if (told?.kept) {
      const back = fields.back && fields.back !== "cellar" ? `/${fields.back}` : location.pathname;
      location.assign(`${back}?told=${fields.id}&of=${tap.to.split("/").pop()}`);
    } else if (told?.asked) look(tap);
    else button.disabled = false;
  });
  const shown = find("[data-shown]");
  if (shown) drop(shown.dataset.shown);
  window.addEventListener("online", send);
  setInterval(send, 15000);
  show(untold());
  send();
})();
