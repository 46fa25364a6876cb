/* A finger on a curve reads it; figures that are typed draw the plan anew. Both work without. */
"use strict";
(() => {
  const touch = async (figure) => {
    const answer = await fetch(figure.dataset.from);
    if (!answer.ok) return;
    const { points, across } = await answer.json();
    const image = figure.querySelector("img"), told = figure.querySelector("output");
    if (!points.length || !image) return;
    const line = document.createElement("div");
    line.className = "at";
    line.hidden = true;
    image.closest(".drawing").append(line);
    const frame = () => across[new URL(image.currentSrc).searchParams.get("size")];
    let held = points.length - 1;
    const show = (number) => {
      held = Math.min(Math.max(number, 0), points.length - 1);
      const [share, when, measured, planned] = points[held], [left, width] = frame();
      line.hidden = false;
      line.style.left = `${(left + width * share) * 100}%`;
      told.textContent = figure.dataset.told
        .replace("{when}", when).replace("{measured}", measured).replace("{planned}", planned);
    };
    const near = (event) => {
      const box = image.getBoundingClientRect(), [left, width] = frame();
      const share = ((event.clientX - box.left) / box.width - left) / width;
      let best = 0;
      points.forEach((point, number) => {
        if (Math.abs(point[0] - share) < Math.abs(points[best][0] - share)) best = number;
      });
      show(best);
    };
    const area = image.closest(".drawing");
    area.addEventListener("pointermove", near);
    area.addEventListener("pointerdown", near);
    area.tabIndex = 0;
    area.addEventListener("keydown", (event) => {
      const step = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
      if (!step) return;
      event.preventDefault();
      show(held + step);
    });
    told.textContent = figure.dataset.how;
    told.classList.add("hint");
    area.addEventListener("pointerdown", () => told.classList.remove("hint"));
    area.addEventListener("pointermove", () => told.classList.remove("hint"));
    area.addEventListener("keydown", () => told.classList.remove("hint"));
  };
  const reach = () => document.querySelectorAll(".touch[data-from]:not([data-touched])").forEach((figure) => {
    figure.dataset.touched = 1;
    touch(figure).catch(() => {});
  });
  addEventListener("renewed", reach);
  reach();

  const form = document.querySelector("form[data-curve]");
  if (form) {
    let wait;
    const thens = (page) => Array.from(page.querySelectorAll(".then"));
    const draw = async () => {
      const figures = new URLSearchParams();
      new FormData(form).forEach((text, name) => {
        if ((/^t\d+$/.test(name) && text.trim()) || name === "days") figures.set(name, text);
      });
      document.querySelectorAll("[data-drawn]").forEach((one) => {
        const from = `${form.dataset.curve}?${figures}&${one.dataset.drawn}`;
        one[one.tagName === "IMG" ? "src" : "srcset"] = from;
      });
      const asked = wait, answer = await fetch(`${location.pathname}?${figures}`);
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      if (!answer.ok || asked !== wait) return;
      const then = thens(page);
      thens(form).forEach((one, number) => { one.textContent = then[number].textContent; });
    };
    form.addEventListener("input", () => {
      clearTimeout(wait);
      wait = setTimeout(() => draw().catch(() => {}), 400);
    });
  }
})();
