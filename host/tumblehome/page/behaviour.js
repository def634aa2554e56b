"use strict";
/* Draws the charts of a page and ties those on the time axis together: one window, one cursor, one readout.
   Time on the axis is in seconds since its zero (the splash). */
(function () {
  const TICK_STEPS_S = [1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 10800, 21600, 43200, 86400,
    172800, 345600, 864000];
  const TICK_ROOM_PX = 92;
  const JOIN_PX = 44;  // marks closer than this leave no room for a number between them
  const PRINT_WIDTH_PX = 680;  // A4 with the margins of look.css
  const BESIDE_GAP_PX = 20;  // between two charts in one row of the paper
  const POINTS_A_PIXEL = 2;  // more than so many are thinned
  const LEAST_SHOWN_S = 120;  // of a moment that a button shows, with what lies around it
  const CONFIG = { displayModeBar: false, responsive: false, doubleClick: false, showTips: false };

  const timeCharts = [];
  let facts = null;
  let long = null;  // all readings of a long course, by name
  let view = null;
  let cursorAt = null;
  let stretchAt = null;

  function islandData(id) {
    const element = document.getElementById(id);
    return element ? JSON.parse(element.textContent) : null;
  }

  /* Whole numbers of a step above a base, little-endian; the largest is a missing reading. See `charts.packed`. */
  function unpacked(packed) {
    const text = atob(packed.data);
    const bytes = new Uint8Array(text.length);
    for (let at = 0; at < text.length; at++) bytes[at] = text.charCodeAt(at);
    const wide = packed.bytes === 4;
    const view = new DataView(bytes.buffer);
    const none = wide ? 0xFFFFFFFF : 0xFFFF;
    const parts = Math.pow(10, packed.decimals);
    const values = new Float64Array(bytes.length / packed.bytes);
    for (let at = 0; at < values.length; at++) {
      const count = wide ? view.getUint32(4 * at, true) : view.getUint16(2 * at, true);
      values[at] = count === none ? NaN : packed.base + count / parts;
    }
    return values;
  }

  function unpackAll() {
    const packed = islandData("long-readings");
    if (!packed) return;
    long = { time: unpacked(packed.time) };
    Object.keys(packed.series).forEach(function (key) { long[key] = unpacked(packed.series[key]); });
  }

  function isMissing(value) { return value === null || value === undefined || value !== value; }

  /* The last place whose time is not after this one; -1 where there is none. */
  function placeOf(times, time) {
    let low = -1;
    let high = times.length - 1;
    while (low < high) {
      const middle = Math.ceil((low + high) / 2);
      if (times[middle] <= time) low = middle; else high = middle - 1;
    }
    return low;
  }

  /* What a line shows of a window: all of it where there is room, else of each pixel the lowest, the highest and the
     first missing one. The point before the window and the one behind it stay, so that the line goes on. */
  function thinned(times, values, window, width) {
    const from = Math.max(0, placeOf(times, window[0]));
    const to = Math.min(times.length - 1, placeOf(times, window[1]) + 1);
    const xs = [];
    const ys = [];
    function put(at) { xs.push(times[at]); ys.push(isMissing(values[at]) ? null : values[at]); }
    const pixels = Math.max(1, Math.floor(width));
    const one = (to - from + 1) / pixels;
    if (one <= POINTS_A_PIXEL) {
      for (let at = from; at <= to; at++) put(at);
      return { x: xs, y: ys };
    }
    put(from);
    for (let pixel = 0; pixel < pixels; pixel++) {
      const start = from + Math.floor(pixel * one);
      const end = Math.min(to + 1, from + Math.floor((pixel + 1) * one));
      const kept = { low: -1, high: -1, gap: -1 };
      for (let at = start; at < end; at++) {
        const value = values[at];
        if (isMissing(value)) { if (kept.gap < 0) kept.gap = at; continue; }
        if (kept.low < 0 || value < values[kept.low]) kept.low = at;
        if (kept.high < 0 || value > values[kept.high]) kept.high = at;
      }
      [kept.low, kept.high, kept.gap].filter(function (at, place, all) {
        return at >= 0 && all.indexOf(at) === place;
      }).sort(function (a, b) { return a - b; }).forEach(put);
    }
    put(to);
    return { x: xs, y: ys };
  }

  /* The long lines of a chart and what they show of the window in view. */
  function longLines(chart, width) {
    const shown = { x: [], y: [], places: [] };
    if (!long) return shown;
    chart.data.forEach(function (trace, place) {
      const key = trace.meta && trace.meta.long;
      if (!key) return;
      const line = thinned(long.time, long[key], view, width);
      shown.x.push(line.x);
      shown.y.push(line.y);
      shown.places.push(place);
    });
    return shown;
  }

  function two(number) { return String(number).padStart(2, "0"); }

  function clock(seconds) {
    const whole = Math.floor(Math.abs(seconds) + 0.5);
    const sign = seconds < 0 && whole ? "-" : "";
    return sign + Math.floor(whole / 3600) + ":" + two(Math.floor(whole / 60) % 60) + ":" + two(whole % 60);
  }

  function utc(seconds, pattern) {
    if (facts.utc === null) return "";
    const text = new Date(Math.round(facts.utc / 1000 + seconds) * 1000).toISOString();
    return pattern === "short" ? text.slice(11, 16) : text.slice(0, 19).replace("T", " ");
  }

  function plotWidth(chart) { return chart._fullLayout.xaxis._length; }

  /* Ticks at round times, as close as their text allows. */
  function ticks(window, width) {
    const span = window[1] - window[0];
    const wanted = span / Math.max(2, Math.floor(width / TICK_ROOM_PX));
    const step = TICK_STEPS_S.find(function (each) { return each >= wanted; }) || span;
    const values = [];
    for (let at = Math.ceil(window[0] / step) * step; at <= window[1]; at += step) values.push(at);
    const text = values.map(function (at) {
      return clock(at) + (facts.utc === null ? "" : "<br>" + utc(at, "short") + "Z");
    });
    return { "xaxis.tickvals": values, "xaxis.ticktext": text };
  }

  const measure = document.createElement("canvas").getContext("2d");
  function textWidth(text, font) {
    measure.font = font;
    const plain = new DOMParser().parseFromString(text, "text/html").body.textContent;
    return measure.measureText(plain).width;
  }

  /* Marks too close to be told apart share one label ("1-3"); each label knows how far the row is free. */
  function joined(labels, window, scale) {
    const near = JOIN_PX / scale;
    const result = [];
    const open = {};
    labels.forEach(function (label) {
      if (label.kind !== "beside") { result.push(label); return; }
      if (label.to < window[0] || label.from > window[1]) return;
      const row = label.axis + label.row;
      const last = open[row];
      if (last && label.from - last.to < near) {
        last.to = Math.max(last.to, label.to);
        last.text = last.first + "-" + label.text;
        return;
      }
      if (last) last.room = (label.from - window[0]) * scale - 8;
      open[row] = Object.assign({ first: label.text, room: (window[1] - window[0]) * scale + 12 }, label);
      result.push(open[row]);
    });
    return result;
  }

  /* Labels that fit the window: inside their bar, beside their mark, or along their bar. None covers another. */
  function fittedLabels(labels, window, width) {
    const scale = width / (window[1] - window[0]);
    const font = "13px " + getComputedStyle(document.body).fontFamily;
    const taken = {};
    const annotations = [];
    joined(labels, window, scale).forEach(function (label) {
      if (label.to < window[0] || label.from > window[1]) return;
      const left = Math.max(0, (label.from - window[0]) * scale);
      const right = Math.min(width, (label.to - window[0]) * scale);
      const wide = textWidth(label.text, font) + 8;
      const row = label.axis + label.row;
      const busy = taken[row] === undefined ? -Infinity : taken[row];
      let start = null;
      if (label.kind === "inside" && right - left >= wide) start = (left + right - wide) / 2;
      if (label.kind === "beside") start = right + 8 + wide <= label.room ? right + 8 : left - 8 - wide;
      if (label.kind === "beside" && start < 0) start = null;
      if (label.kind === "along") {
        if (right - left >= wide + 9) start = left + 9;
        else start = right + 9 + wide <= width ? right + 9 : Math.max(0, left - 9 - wide);
      }
      if (start === null || start < busy || start + wide > width + 12) return;
      taken[row] = start + wide;
      annotations.push({
        xref: "x", yref: label.axis, x: window[0] + (start + wide / 2) / scale, y: label.row, text: label.text,
        showarrow: false, font: { size: 13 }, borderpad: 1,
        bgcolor: label.kind === "beside" ? "rgba(255,255,255,0)" : "rgba(255,255,255,0.85)"
      });
    });
    return annotations;
  }

  function dress(chart) {
    const width = plotWidth(chart);
    const change = ticks(view, width);
    change["xaxis.range"] = view.slice();
    const meta = chart.layout.meta;
    if (meta && meta.labels) change.annotations = fittedLabels(meta.labels, view, width);
    const lines = longLines(chart, width);
    chart.settling = true;
    const done = lines.places.length ? Plotly.update(chart, { x: lines.x, y: lines.y }, change, lines.places)
      : Plotly.relayout(chart, change);
    return done.then(function () { chart.settling = false; placeCursor(chart); });
  }

  function setView(from, to) {
    const whole = facts.to - facts.from;
    const span = Math.min(Math.max(to - from, 10), whole);
    const middle = (from + to) / 2;
    const start = Math.min(Math.max(middle - span / 2, facts.from), facts.to - span);
    view = [start, start + span];
    timeCharts.forEach(dress);
  }

  function rangeOf(event) {
    if (event["xaxis.range[0]"] !== undefined) return [event["xaxis.range[0]"], event["xaxis.range[1]"]];
    return event["xaxis.range"] || null;
  }

  /* The value of a line at a time, between the point before it and the one after. A gap reads as null. */
  function valueAt(trace, time) {
    const whole = long && trace.meta.long;
    const xs = whole ? long.time : trace.x;
    const ys = whole ? long[trace.meta.long] : trace.y;
    const low = placeOf(xs, time);
    if (low < 0) return null;
    const next = Math.min(low + 1, xs.length - 1);
    if (isMissing(ys[low])) return null;
    if (isMissing(ys[next]) || next === low) return ys[low];
    const part = (time - xs[low]) / (xs[next] - xs[low] || 1);
    return ys[low] + Math.min(1, part) * (ys[next] - ys[low]);
  }

  function readings(time) {
    const said = [];
    timeCharts.forEach(function (chart) {
      const labels = (chart.layout.meta && chart.layout.meta.labels) || [];
      const states = labels.filter(function (label) {
        return label.kind === "inside" && label.from <= time && time < label.to;
      });
      if (states.length) said.push("state " + states[states.length - 1].text);
      labels.filter(function (label) {
        return label.kind !== "inside" && label.from <= time && time <= label.to;
      }).forEach(function (label) {
        said.push((label.kind === "beside" ? "release attempt " : "fault ") + label.text);
      });
      chart.data.forEach(function (trace) {
        if (!trace.meta || !trace.meta.readout) return;
        const value = valueAt(trace, time);
        const about = trace.meta.readout;
        said.push(about.name + " " + (value === null ? "no reading" : value.toFixed(about.decimals) + " " + about.unit));
      });
    });
    return said;
  }

  function plain(text) { return new DOMParser().parseFromString(text, "text/html").body.textContent; }

  /* The stretch that a button speaks of, shaded in all charts. */
  function placeStretch(chart) {
    const shade = chart.stretch;
    const axis = chart._fullLayout.xaxis;
    const size = chart._fullLayout._size;
    const isIn = stretchAt && stretchAt[1] >= view[0] && stretchAt[0] <= view[1];
    shade.style.display = isIn ? "block" : "none";
    if (!isIn) return;
    const scale = axis._length / (view[1] - view[0]);
    const left = (Math.max(stretchAt[0], view[0]) - view[0]) * scale;
    const right = (Math.min(stretchAt[1], view[1]) - view[0]) * scale;
    shade.style.left = size.l + left - 2 + "px";
    shade.style.width = right - left + 4 + "px";
    shade.style.top = size.t + "px";
    shade.style.height = size.h + "px";
  }

  function placeCursor(chart) {
    placeStretch(chart);
    const line = chart.cursorLine;
    const axis = chart._fullLayout.xaxis;
    const size = chart._fullLayout._size;
    if (cursorAt === null || cursorAt < view[0] || cursorAt > view[1]) { line.style.display = "none"; return; }
    line.style.display = "block";
    line.style.left = size.l + (cursorAt - view[0]) / (view[1] - view[0]) * axis._length + "px";
    line.style.top = size.t + "px";
    line.style.height = size.h + "px";
  }

  function setCursor(time) {
    cursorAt = Math.min(Math.max(time, facts.from), facts.to);
    const slider = document.getElementById("cursor");
    const readout = document.getElementById("readout");
    const when = clock(cursorAt) + (facts.utc === null ? "" : " (" + utc(cursorAt, "long") + " UTC)");
    const said = plain(readings(cursorAt).join(", "));
    slider.value = String(Math.round(cursorAt));
    slider.setAttribute("aria-valuetext", when + ", " + said);
    readout.textContent = "";
    readout.appendChild(document.createElement("b")).textContent = when + ": ";
    readout.appendChild(document.createTextNode(said));
    timeCharts.forEach(placeCursor);
  }

  function follow(chart) {
    chart.stretch = chart.appendChild(document.createElement("div"));
    chart.stretch.className = "stretch";
    chart.cursorLine = chart.appendChild(document.createElement("div"));
    chart.cursorLine.className = "cursor-line";
    chart.on("plotly_relayout", function (event) {
      const range = rangeOf(event);
      if (!chart.settling && range) setView(Number(range[0]), Number(range[1]));
    });
    chart.on("plotly_doubleclick", function () { setView(facts.from, facts.to); });
    let waiting = false;
    function point(event) {
      if (waiting) return;
      waiting = true;
      requestAnimationFrame(function () {
        waiting = false;
        const along = event.clientX - chart.getBoundingClientRect().left - chart._fullLayout._size.l;
        const part = along / plotWidth(chart);
        if (part >= 0 && part <= 1) setCursor(view[0] + part * (view[1] - view[0]));
      });
    }
    chart.addEventListener("pointermove", function (event) { if (!event.buttons) point(event); });
    chart.addEventListener("pointerdown", point);
  }

  /* Zoom to a stretch, with as much around it on both sides as makes it plain. */
  function showStretch(from, to) {
    const around = Math.max(LEAST_SHOWN_S, to - from);
    stretchAt = [from, to];
    setView(from - around, to + around);
  }

  function stepView(step) {
    const span = view[1] - view[0];
    const held = cursorAt !== null && cursorAt >= view[0] && cursorAt <= view[1];
    const middle = held && step === "in" ? cursorAt : (view[0] + view[1]) / 2;
    if (step === "in") setView(middle - span / 4, middle + span / 4);
    if (step === "out") setView(middle - span, middle + span);
    if (step === "back") setView(view[0] - span / 3, view[1] - span / 3);
    if (step === "on") setView(view[0] + span / 3, view[1] + span / 3);
  }

  /* A thumb moves by whole seconds: with a whole dive in view each press of a key goes on by a part of the view. */
  const KEYS = {
    ArrowRight: function () { goOn(0.01); }, ArrowUp: function () { goOn(0.01); }, PageUp: function () { goOn(0.1); },
    ArrowLeft: function () { goOn(-0.01); }, ArrowDown: function () { goOn(-0.01); }, PageDown: function () { goOn(-0.1); },
    "+": function () { stepView("in"); }, "=": function () { stepView("in"); }, "-": function () { stepView("out"); },
    "0": function () { setView(facts.from, facts.to); }
  };

  /* The cursor by a share of the view, which follows it. */
  function goOn(share) {
    const span = view[1] - view[0];
    const from = cursorAt === null ? Math.max(0, view[0]) : cursorAt;
    setCursor(from + share * span);
    if (cursorAt < view[0] || cursorAt > view[1]) setView(cursorAt - span / 2, cursorAt + span / 2);
  }

  function controls() {
    document.getElementById("cursor").addEventListener("keydown", function (event) {
      if (event.ctrlKey || event.altKey || event.metaKey || !KEYS[event.key]) return;
      event.preventDefault();
      KEYS[event.key]();
    });
    document.querySelectorAll(".time-buttons button[data-from]").forEach(function (button) {
      button.addEventListener("click", function () {
        setView(Number(button.dataset.from), Number(button.dataset.to));
      });
    });
    document.querySelectorAll(".time-buttons button[data-step]").forEach(function (button) {
      button.addEventListener("click", function () { stepView(button.dataset.step); });
    });
    document.getElementById("cursor").addEventListener("input", function (event) {
      setCursor(Number(event.target.value));
    });
    const drag = document.getElementById("drag-mode");
    drag.addEventListener("click", function () {
      const moves = drag.getAttribute("aria-pressed") !== "true";
      drag.setAttribute("aria-pressed", String(moves));
      drag.textContent = moves ? "Dragging: moves" : "Dragging: zooms";
      timeCharts.forEach(function (chart) { Plotly.relayout(chart, { dragmode: moves ? "pan" : "zoom" }); });
    });
    document.querySelectorAll("button.at").forEach(function (button) {
      button.addEventListener("click", function () {
        const time = Number(button.dataset.time);
        if (button.dataset.until) showStretch(time, Number(button.dataset.until));
        else if (time < view[0] || time > view[1]) setView(facts.from, facts.to);
        setCursor(time);
        const chart = document.getElementById("depth");
        const place = chart.getBoundingClientRect();
        if (place.top < 0 || place.bottom > innerHeight) chart.scrollIntoView({ block: "start" });
      });
      button.addEventListener("focus", function () {
        if (!button.dataset.until) return;
        stretchAt = [Number(button.dataset.time), Number(button.dataset.until)];
        setCursor(stretchAt[0]);
      });
    });
  }

  function copying() {
    document.querySelectorAll("button.copy").forEach(function (button) {
      const words = button.textContent;
      button.addEventListener("click", function () {
        const code = button.parentNode.querySelector("code");
        function done(said) {
          button.textContent = said;
          setTimeout(function () { button.textContent = words; }, 2500);
        }
        function select() {
          getSelection().selectAllChildren(code);
          done(document.execCommand("copy") ? "Copied" : "Selected: copy it with the keyboard");
        }
        if (!navigator.clipboard) { select(); return; }
        navigator.clipboard.writeText(code.textContent).then(function () { done("Copied"); }, select);
      });
    });
  }

  function resizeAll(width) {
    document.querySelectorAll(".chart").forEach(function (chart) {
      if (!chart._fullLayout) return;
      const part = width && chart.closest(".beside") ? (width - BESIDE_GAP_PX) / 2 : width;
      const wide = part || chart.clientWidth;
      if (wide) Plotly.relayout(chart, { width: wide });  // a window drawn together has no room, and plotly throws
    });
    if (facts) timeCharts.forEach(dress);
  }

  /* On paper there is nothing to zoom with: the whole run, at the width of the paper, the plan unfolded. */
  function printing() {
    let before = null;
    window.addEventListener("beforeprint", function () {
      before = view;
      if (facts) view = [facts.from, facts.to];
      resizeAll(PRINT_WIDTH_PX);
      document.querySelectorAll("details").forEach(function (each) { each.open = true; });
    });
    window.addEventListener("afterprint", function () { view = before; resizeAll(null); });
  }

  function draw() {
    facts = islandData("time-facts");
    view = facts && [facts.from, facts.to];
    unpackAll();
    const touch = matchMedia("(pointer: coarse)").matches;
    const drawn = Array.from(document.querySelectorAll(".chart")).map(function (chart) {
      const figure = islandData(chart.id + "-data");
      figure.layout.width = chart.clientWidth;
      if (touch) figure.layout.dragmode = false;  // a finger on a chart must still scroll the page
      return Plotly.newPlot(chart, figure.data, figure.layout, CONFIG).then(function () {
        if (!chart.dataset.timeAxis) return null;
        timeCharts.push(chart);
        timeCharts.sort(function (one, other) { return one.offsetTop - other.offsetTop; });
        follow(chart);
        return dress(chart);
      });
    });
    if (facts) controls();
    if (touch && document.getElementById("drag-mode")) document.getElementById("drag-mode").hidden = true;
    let last = innerWidth;
    window.addEventListener("resize", function () {
      if (innerWidth !== last) { last = innerWidth; resizeAll(null); }
    });
    return Promise.all(drawn).then(function () {
      const ruler = document.getElementById("js-plotly-tester");  // with which plotly measures; nothing to be read there
      if (ruler) ruler.setAttribute("aria-hidden", "true");
      document.body.dataset.drawn = "yes";
    });
  }

  copying();
  if (window.Plotly) { draw(); printing(); }
})();
