/* Says how old it is what a page shows, and why where it is older than it should be. */
"use strict";
(() => {
  const find = (what) => document.querySelector(what), lost = find("#lost"), words = lost.dataset;
  const { kept = 0, live } = document.body.dataset, hears = live && window.EventSource;
  const renews = live || kept || find("[data-anew]");
  /* The watch's own time: how far the clock of this machine is from it, the page knows; one that
     was kept for want of a connection has been told how long. */
  const who = find("meta[name=who]").dataset, set = (watch) => { who.apart = Date.now() / 1000 - watch; };
  set(+who.watch + +kept);
  const DEAF = 30, STILL = 90;
  let heard = Date.now() / 1000 - kept, why = "";

  const say = (text) => {
    lost.hidden = !text;
    if (lost.textContent !== text) lost.textContent = text;
    document.body.classList.toggle("gone", !!text);
  };
  const grow = () => {
    const here = Date.now() / 1000, now = here - who.apart, picture = find("[data-moment]");
    for (const one of document.querySelectorAll("[data-at]")) {
      const age = now - one.dataset.at;
      one.classList.toggle("new", age < 90);
      one.textContent = age < 90 ? words.now : age < 3600
        ? words.minutes.replace("{n}", Math.round(age / 60)) : one.dataset.since;
    }
    for (const one of document.querySelectorAll("[data-ago]")) {
      const minutes = Math.round((now - one.dataset.ago) / 60), few = minutes < 60;
      one.textContent = (few ? words.minutesAgo : words.hoursAgo).replace("{n}", few ? minutes : Math.round(minutes / 60));
    }
    const still = renews && now - picture.dataset.moment > STILL && words.still.replace("{when}", picture.dataset.clock);
    say(why || (hears && here - heard > DEAF && words.lost) || still || "");
  };
  addEventListener("heard", ({ detail }) => { if (detail) set(detail); heard = Date.now() / 1000; why = ""; grow(); });
  addEventListener("unheard", ({ detail }) => { why = words[detail]; grow(); });
  setInterval(grow, 1000);
  grow();
  if (find("nav")) navigator.serviceWorker?.register("/keeper.js").catch(() => {});

  /* What is wrong with a tap: beside its field, if it is about one. */
  const SEEN = ":not([type=hidden], [type=checkbox])";
  const make = (tag, has) => Object.assign(document.createElement(tag), has);
  const clear = (form) => {
    form.querySelectorAll(".wrong, [name=sure]").forEach((one) => one.remove());
    form.querySelectorAll("[aria-invalid]").forEach((one) => one.removeAttribute("aria-invalid"));
  };
  addEventListener("untaken", ({ detail: { form, refused, asked, wrong = { "": refused } } }) => {
    clear(form);
    if (asked) form.append(make("input", { type: "hidden", name: "sure", value: 1 }));
    let first;
    for (const [name, textContent] of Object.entries(wrong)) {
      const why = make("p", { className: "wrong", role: "alert", tabIndex: -1, textContent });
      const field = name && form.querySelector(`:is(input${SEEN}, select)[name=${name}]`);
      first ??= field || why;
      if (!field) { form.prepend(why); continue; }
      why.id = `wrong-${field.id}`;
      field.setAttribute("aria-invalid", true);
      field.setAttribute("aria-describedby", why.id);
      (field.closest(".pair, label") ?? field).after(why);
    }
    first.focus();
    form.querySelector(".wrong").scrollIntoView({ block: "center" });
  });
  addEventListener("input", ({ target: { form } }) => form?.matches(".tap") && clear(form));
  /* What a waiting tap is called. */
  window.called = (form, button) => {
    const { does, of = find("h1").textContent } = form.dataset, said = button.textContent.trim();
    const typed = [...form.querySelectorAll(`input${SEEN}, select`)].map((one) => one.selectedOptions?.[0].text ?? one.value);
    const what = [does ?? said, ...typed, does && !typed.join("") && said, button.value && said];
    return what.filter(Boolean).join(" ") + (document.documentElement.lang === "ja" ? "、" : ", ") + of;
  };
})();
