/* The wall asks for itself anew, and says when it is old. Browsers of ten years ago read this. */
(function () {
  "use strict";
  var EVERY = 10000, WITHIN = 8000, sheet = document.getElementById("sheet");
  function clock() { return window.performance && performance.now ? performance.now() : +new Date(); }
  var came = clock();
  function grow() {
    var wall = document.getElementById("wall");
    var age = Number(wall.getAttribute("data-age")) + (clock() - came) / 1000;
    if (age > Number(wall.getAttribute("data-old")) && !/ old$/.test(wall.className)) wall.className += " old";
  }
  function ask() {
    var asked = new XMLHttpRequest();
    asked.open("GET", location.href);
    asked.timeout = WITHIN;
    asked.onreadystatechange = function () {
      var parts = asked.readyState === 4 && asked.status === 200 ? asked.responseText.split("<!--wall-->") : [];
      if (parts.length !== 3) return;
      sheet.innerHTML = "<!--wall-->" + parts[1] + "<!--wall-->";
      came = clock();
      grow();
    };
    asked.send();
  }
  setInterval(grow, 1000);
  setInterval(ask, EVERY);
})();
