"use strict";
/* Shows the map of one moment at a time. Without it that of the verdict stands, and the table has all of them. */
(function () {
  const maps = Array.from(document.querySelectorAll(".map[data-moment]"));
  const chooser = document.querySelector(".chooser");
  if (!chooser || maps.length < 2) return;
  const slider = document.getElementById("when");
  const said = document.getElementById("when-said");
  const earlier = document.getElementById("earlier");
  const later = document.getElementById("later");

  function show(wanted) {
    const at = Math.max(0, Math.min(maps.length - 1, wanted));
    maps.forEach(function (map, number) { map.hidden = number !== at; });
    slider.value = String(at);
    slider.setAttribute("aria-valuetext", maps[at].dataset.moment);
    said.textContent = (at + 1) + " of " + maps.length;
    earlier.disabled = at === 0;
    later.disabled = at === maps.length - 1;
  }

  slider.addEventListener("input", function () { show(Number(slider.value)); });
  earlier.addEventListener("click", function () { show(Number(slider.value) - 1); });
  later.addEventListener("click", function () { show(Number(slider.value) + 1); });
  chooser.hidden = false;
  show(maps.findIndex(function (map) { return !map.hidden; }));
})();
