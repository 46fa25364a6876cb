/* Keeps taps until told. */
"use strict";
(() => {
  const find = (query) => document.querySelector(query);
  const add = (to, tag, has) => to.appendChild(Object.assign(document.createElement(tag), has));
  const KEY = "kuraban untold"; let full, sending;
  const box = find("#untold"), list = find("#untold ul"), words = box.dataset, who = find("meta[name=who]"), me = who.content;
  const { name, accounts } = who.dataset, token = find("meta[name=token]").content;
  const mine = (tap) => !accounts || (me && (tap.by ?? me) === me);
  const all = () => JSON.parse(localStorage.getItem(KEY) || "[]");
  const drop = (id) => keep(all().filter((tap) => tap.fields.id !== id));
  function keep(taps) {
    try { localStorage.setItem(KEY, JSON.stringify(taps)); full = ""; } catch { full = words.full; }
    taps = all();
    box.hidden = !taps.length && !full;
    find("#untold b").textContent = `${taps.length} ${full}`;
    list.replaceChildren();
    for (const tap of taps) {
      const { refused } = tap, why = refused ? words[tap.asked ? "asked" : "refused"].replace("{reason}", refused)
        : mine(tap) ? "" : words.whose.replace("{who}", tap.name);
      const line = add(list, "li", { textContent: `${tap.label} ${why}` });
      if (!mine(tap) || !(refused || tap.by == null)) continue;
      const does = { again: () => look(tap), forget: () => drop(tap.fields.id) };
      for (const [what, onclick] of Object.entries(does))
        add(line, "button", { className: `quiet ${what}`, textContent: words[what], onclick });
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
        method: "POST", body: new URLSearchParams({ ...fields, token }),
        headers: { accept: "application/json" }, signal: AbortSignal.timeout(8e3),
      });
      const { status } = answer, known = status !== 403;
      if (status === 200) { drop(fields.id); return { kept: true }; }
      if ([202, 401, 408, 409, 429].includes(status) || status > 499) return { kept: status === 202 };
      const said = await answer.json(), asked = said.state === "asked";
      const refused = known ? said.reason || said.detail : words.forbidden, { wrong } = said;
      keep(all().map((one) => (one.fields.id === fields.id ? { ...one, refused, asked } : one)));
      return { known, refused, asked, wrong };
    } catch { return null; }
  }
  async function send() {
    if (sending) return;
    sending = true;
    for (const tap of all())
      if (!tap.refused && tap.by != null && mine(tap) && !(await tell(tap))) break;
    sending = false;
  }

  document.addEventListener("submit", async (event) => {
    const { target: form, submitter: button } = event;
    if (!form.matches(".tap")) return;
    event.preventDefault();
    const fields = { ...Object.fromEntries(new FormData(form, button)), id: crypto.getRandomValues(new Uint32Array(4)).join("-"), maker: me };
    delete fields.token;
    if (!fields.when) fields.tapped = Date.now() / 1000 - who.dataset.apart;
    const to = form.getAttribute("action"), subject = to.slice(5);
    const tap = { to, by: me, name, label: called(form, button), fields };
    button.disabled = true;
    keep([...all(), tap]);
    const told = await tell(tap);
    if (told?.kept) {
      const { back } = fields, page = back && back !== "cellar" ? `/${back}` : location.pathname;
      return location.assign(`${page}?told=${fields.id}&of=${subject}#row-${subject}`);
    }
    button.disabled = false;
    if (!told?.known) return;
    drop(fields.id);
    dispatchEvent(new CustomEvent("untaken", { detail: { form, ...told } }));
  });
  drop(find("[data-shown]")?.dataset.shown);
  addEventListener("online", send);
  setInterval(send, 15e3);
  send();
})();
