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

  const KEY = "kuraban untold";
  const untold = () => JSON.parse(localStorage.getItem(KEY) || "[]");
  const keep = (taps) => {
    localStorage.setItem(KEY, JSON.stringify(taps));
    find("#untold").hidden = !taps.length;
    find("#untold b").textContent = taps.length;
  };
  const drop = (id) => keep(untold().filter((tap) => tap.fields.id !== id));
  const made = () => Array.from(crypto.getRandomValues(new Uint8Array(16)),
    (byte) => byte.toString(16).padStart(2, "0")).join("");

  const now = () => new Date().toISOString();

  /* "kept", "refused", or nothing where the watch cannot be reached or does not know us. */
  const tell = async (tap) => {
    const token = find("meta[name=token]").content;
    try {
      const answer = await fetch(tap.to, {
        method: "POST",
        body: new URLSearchParams({ ...tap.fields, token, sent: now() }),
        headers: { accept: "application/json", "x-kuraban-token": token },
        signal: AbortSignal.timeout(8000),
      });
      if (answer.ok) return "kept";
      return answer.status === 422 ? "refused" : "";
    } catch { return ""; }
  };
  let sending = false;
  async function send() {
    if (sending) return;
    sending = true;
    for (const tap of untold()) {
      if (!(await tell(tap))) break;
      drop(tap.fields.id);
    }
    sending = false;
  }

  document.addEventListener("submit", async (event) => {
    const form = event.target;
    if (!form.matches("form.tap")) return;
    event.preventDefault();
    const fields = Object.fromEntries(new FormData(form));
    Object.assign(fields, { id: made(), at: now() });
    const tap = { to: form.getAttribute("action"), fields };
    const button = find("button", form);
    button.disabled = true;
    keep([...untold(), tap]);
    const state = await tell(tap);
    if (state) drop(fields.id);
    if (state === "kept") {
      const back = fields.back && fields.back !== "cellar" ? `/${fields.back}` : location.pathname;
      location.assign(`${back}?told=${fields.id}&of=${tap.to.split("/").pop()}`);
    } else if (state === "refused") {
      for (const [name, value] of Object.entries({ id: fields.id, at: fields.at, sent: now() })) {
        const held = find(`[name=${name}]`, form) || form.appendChild(document.createElement("input"));
        Object.assign(held, { type: "hidden", name, value });
      }
      form.submit();
    } else { button.disabled = false; }
  });
  window.addEventListener("online", send);
  setInterval(send, 15000);
  keep(untold());
  send();
})();
