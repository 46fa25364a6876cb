/* Keeps taps until the watch has them, each for its maker. */
"use strict";
(() => {
  const find = (query, from = document) => from.querySelector(query);
  const add = (into, tag, fields) => into.appendChild(Object.assign(document.createElement(tag), fields));
  const KEY = "kuraban untold", LATER = [401, 408, 409, 429];
  const box = find("#untold"), list = find("ul", box), words = box.dataset, who = find("meta[name=who]"), me = who.content;
  const { name, accounts } = who.dataset, token = find("meta[name=token]").content;
  const mine = (tap) => !accounts || (me && (tap.by ?? me) === me);
  const untold = () => JSON.parse(localStorage.getItem(KEY) || "[]");
  const keep = (taps) => { localStorage.setItem(KEY, JSON.stringify(taps)); show(taps); };
  const drop = (id) => keep(untold().filter((tap) => tap.fields.id !== id));
  const made = () => crypto.getRandomValues(new Uint32Array(4)).join("-");

  function show(taps) {
    box.hidden = !taps.length;
    find("b", box).textContent = taps.length;
    list.replaceChildren();
    for (const tap of taps) {
      const why = tap.refused ? words.refused.replace("{reason}", tap.refused)
        : mine(tap) ? "" : words.whose.replace("{who}", tap.name);
      const line = add(list, "li", { textContent: `${tap.label} ${why}` });
      if (!mine(tap) || !(tap.refused || tap.by == null)) continue;
      for (const what of ["again", "forget"]) {
        const onclick = () => (what === "again" ? look(tap) : drop(tap.fields.id));
        add(line, "button", { className: `quiet ${what}`, textContent: words[what], onclick });
      }
    }
  }
  function look(tap) {
    const form = add(document.body, "form", { method: "post", action: tap.to, hidden: true });
    for (const [name, value] of Object.entries({ ...tap.fields, token })) add(form, "input", { name, value });
    form.submit();
  }

  async function tell({ to, fields }) {
    try {
      const answer = await fetch(to, {
        method: "POST",
        body: new URLSearchParams({ ...fields, token }),
        headers: { accept: "application/json", "x-kuraban-token": token },
        signal: AbortSignal.timeout(8000),
      });
      const { ok, status } = answer, asked = status !== 403;
      if (ok) { drop(fields.id); return { kept: true }; }
      if (LATER.includes(status) || status > 499) return {};
      const said = asked ? await answer.json().catch(() => ({})) : {};
      const refused = asked ? said.reason || said.detail || status : words.forbidden;
      keep(untold().map((one) => (one.fields.id === fields.id ? { ...one, refused } : one)));
      return { asked };
    } catch { return null; }
  }
  let sending = false;
  async function send() {
    if (sending) return;
    sending = true;
    for (const tap of untold()) {
      if (!tap.refused && tap.by != null && mine(tap) && !(await tell(tap))) break;
    }
    sending = false;
  }

  document.addEventListener("submit", async (event) => {
    const form = event.target;
    if (!form.matches("form.tap")) return;
    event.preventDefault();
    const button = find("button", form);
    const fields = { ...Object.fromEntries(new FormData(form)), id: made(), maker: me };
    delete fields.token;
    if (!fields.when) fields.tapped = Date.now() / 1000 - who.dataset.apart; /* by the watch */
    const to = form.getAttribute("action"), label = `${document.title}: ${button.textContent}`;
    const tap = { to, by: me, name, label, fields };
    button.disabled = true;
    keep([...untold(), tap]);
    const told = await tell(tap);
    if (told?.kept) {
      const back = fields.back && fields.back !== "cellar" ? `/${fields.back}` : location.pathname;
      location.assign(`${back}?told=${fields.id}&of=${to.slice(5)}#row-${to.slice(5)}`);
    } else if (told?.asked) look(tap);
    else button.disabled = false;
  });
  drop(find("[data-shown]")?.dataset.shown);
  addEventListener("online", send);
  setInterval(send, 15000);
  send();
})();
