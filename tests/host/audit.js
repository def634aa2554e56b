/* What would trouble a reader of the page as it stands in the window, one sentence each. Rules: WCAG 2.2, criteria
   1.1.1 (text for pictures), 1.3.1 (headings, tables), 1.4.3 (contrast), 1.4.10 (no sideways scrolling), 2.1.1 (keys),
   2.5.8 (24 px to touch), 3.1.1 (language), 4.1.2 (names). No type below 11 px and nothing cut off: common practice. */
({ width, smallest, isPaper }) => {
  const faults = [];
  const say = (what, where) => faults.push(what + ": " + (where && where.outerHTML ? where.outerHTML.slice(0, 160) : where));
  const all = (query) => Array.from(document.querySelectorAll(query));
  const shownAt = (one) => { const box = one.getBoundingClientRect(); return box.width > 0 && box.height > 0 && getComputedStyle(one).visibility !== "hidden"; };
  if (!document.documentElement.lang) say("no language", document.documentElement);
  if (!document.title.trim()) say("no title", "");
  const levels = all("h1, h2, h3, h4, h5, h6").map((one) => Number(one.tagName[1]));
  if (levels.filter((each) => each === 1).length !== 1) say("not one h1", levels);
  levels.forEach((each, at) => { if (at && each > levels[at - 1] + 1) say("a heading level is left out", levels); });
  const ids = all("[id]").map((one) => one.id);
  ids.filter((id, at) => ids.indexOf(id) !== at).forEach((id) => say("an id stands twice", id));
  const named = (one) => (one.getAttribute("aria-label") || one.textContent || "").trim()
    || Array.from(one.labels || []).map((label) => label.textContent.trim()).join("");
  all("button, input, select, textarea, a, summary, [role=region], [role=group]").filter((one) => !named(one)).forEach((one) => say("no name", one));
  all("main [role=img], svg:not([aria-hidden]):not(.chart svg)").filter((one) => (one.getAttribute("aria-label") || "").length < 20)
    .forEach((one) => say("a picture without words", one));
  all("table").filter((one) => !one.querySelector("caption")).forEach((one) => say("no caption", one));
  all("th").filter((one) => !["col", "row"].includes(one.scope)).forEach((one) => say("no scope", one));
  all("a[href^='#']").filter((one) => !document.getElementById(one.hash.slice(1))).forEach((one) => say("leads nowhere", one));
  if (!isPaper) all("button:not(.at), input, summary").filter(shownAt).forEach((one) => {
    const box = one.getBoundingClientRect();
    if (box.width < 24 || box.height < 24) say("too small to be touched", one);
  });
  const wide = document.documentElement.scrollWidth;
  if (wide > width) say("scrolls sideways", wide + " of " + width);
  const channels = (colour) => (colour.match(/[\d.]+/g) || []).map(Number);
  const luminance = (rgb) => rgb.slice(0, 3).map((each) => each / 255)
    .map((each) => (each <= 0.04045 ? each / 12.92 : Math.pow((each + 0.055) / 1.055, 2.4)))
    .reduce((sum, each, at) => sum + each * [0.2126, 0.7152, 0.0722][at], 0);
  const behind = (one) => {
    for (let at = one; at; at = at.parentElement) {
      const found = channels(getComputedStyle(at).backgroundColor);
      if (found.length === 3 || found[3] > 0.9) return found;
    }
    return [255, 255, 255];
  };
  const ownText = (one) => Array.from(one.childNodes).some((node) => node.nodeType === 3 && node.data.trim());
  all("body *").filter((one) => ownText(one) && shownAt(one) && !one.closest("script, style, noscript, :disabled")).forEach((one) => {
    const look = getComputedStyle(one);
    const inPicture = one.closest("svg");
    const box = inPicture && inPicture.viewBox.baseVal;
    const room = inPicture && inPicture.getBoundingClientRect();
    const size = parseFloat(look.fontSize) * (box && box.width ? Math.min(room.width / box.width, room.height / box.height) : 1);
    if (size < smallest) say("tiny type " + size.toFixed(1), one);
    if (!inPicture) {
      const lights = [luminance(channels(look.color)), luminance(behind(one))].sort((a, b) => b - a);
      const ratio = (lights[0] + 0.05) / (lights[1] + 0.05);
      const large = size >= 24 || (size >= 18.66 && Number(look.fontWeight) >= 700);
      if (ratio < (large ? 3 : 4.5)) say("low contrast " + ratio.toFixed(2), one);
    }
  });
  all(".chart text, .sea text, .picture text").filter((one) => one.textContent.trim() && shownAt(one)).forEach((one) => {
    const box = one.getBoundingClientRect();
    const frame = (one.closest(".chart") || one.closest("svg")).getBoundingClientRect();
    if (box.left < frame.left - 1 || box.right > frame.right + 1 || box.top < frame.top - 1 || box.bottom > frame.bottom + 1) say("cut off", one.textContent);
  });
  all("main *").filter((one) => ["auto", "scroll"].includes(getComputedStyle(one).overflowX) && one.scrollWidth > one.clientWidth + 1
    && (isPaper || one.tabIndex < 0)).forEach((one) => say(isPaper ? "hidden on paper" : "scrolls but not by keys", one));
  return faults;
}
