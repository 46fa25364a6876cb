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
    const still = renews && now - picture.dataset.moment > STILL && words.still.replace("{when}", picture.dataset.clock);
    say(why || (hears && here - heard > DEAF && words.lost) || still || "");
  };
  addEventListener("heard", ({ detail }) => { if (detail) set(detail); heard = Date.now() / 1000; why = ""; grow(); });
  addEventListener("unheard", ({ detail }) => { why = words[detail]; grow(); });
  setInterval(grow, 1000);
  grow();
  if (find("nav")) navigator.serviceWorker?.register("/keeper.js").catch(() => {});
  addEventListener("untaken", ({ detail: { form, refused, asked } }) => { // said in the form itself
    const words = document.getElementById("untold").dataset, why = document.createElement("p");
    Object.assign(why, { className: "wrong", role: "alert", tabIndex: -1 });
    why.textContent = asked ? `${refused} ${words.once}` : words.refused.replace("{reason}", refused);
    if (asked) why.append(Object.assign(document.createElement("input"), { type: "hidden", name: "sure", value: 1 }));
    form.querySelector(".wrong")?.remove();
    form.prepend(why);
    why.focus();
  });
  addEventListener("input", ({ target }) => target.form?.querySelector(".tap > .wrong")?.remove());
})();
