// Figures of a study.

const OTHERS = "#8f9aa3", BAND = "#dbe3e9";
const MARKS = ["circle", "square", "triangle-up", "diamond", "triangle-down", "cross"];
const words = (name) => name.replace(/_/g, " ");
const four = (value) => (typeof value === "number" ? `${Number(value.toPrecision(4))}` : `${value ?? "-"}`);
const two = (value) => (known(value) ? `${Number(value.toPrecision(2))}` : "-");
const axisTitle = (text) => ({ text: plain(short(text, 44)), font: { size: 12 } });
const axis = (title, more = {}) => ({ title: axisTitle(title), fixedrange: true, gridcolor: GRID, zeroline: false, ...more });
const inkOf = (factor) => data.inks.options[factor % data.inks.options.length];
const dashOf = (factor) => DASHES[factor % DASHES.length];
const ofAim = (table) => data.tables[table].filter((row) => row.aim === data.aims[state.aim].name);

// Height of a figure of two numbers of rigs; on paper that of the style.
const tallness = (id) => (window.matchMedia("print").matches ? 320 : Math.max(300, Math.min(440, 0.75 * widthOf(id))));

// Ends of an axis with a little room.
function span(values) {
  const some = values.filter(known), [low, high] = [Math.min(...some), Math.max(...some)];
  const room = 0.06 * (high - low) || 0.1 * Math.abs(high) || 1;
  return [low - room, high + room];
}

// --- shares and main effects ---

function drawShares() {
  const rows = ofAim("shares"), reason = rows[0].reason, place = byId("shares");
  byId("no-shares").hidden = !reason;
  byId("no-shares").textContent = reason ? `No shares of the variance: ${reason}.` : "";
  for (const each of [place, byId("shares-help")]) each.hidden = Boolean(reason);
  if (reason) return;
  const narrow = widthOf("shares") < 560, y = rows.map((_, at) => at);
  const bar = { type: "bar", orientation: "h", hoverinfo: "none", y };
  const more = rows.map((row) => Math.max(0, row.total_percent - row.first_percent));
  draw("shares", [
    { ...bar, x: rows.map((row) => row.first_percent), marker: { color: data.inks.gain, line: { color: INK, width: 0.6 } } },
    { ...bar, x: more, base: rows.map((row) => row.first_percent), marker: { color: "#fff", line: { color: INK, width: 0.8 } } },
    {
      type: "scatter", mode: "text", hoverinfo: "none", x: rows.map((row) => Math.max(row.total_percent, row.first_percent)), y,
      text: rows.map((row) => `\u2009${show(row.total_percent, 0)}`), textposition: "middle right", textfont: { size: 11, color: INK }, cliponaxis: false,
    },
  ], {
    height: 64 + 28 * rows.length, margin: { l: narrow ? 116 : 190, r: 30, t: 6, b: 42 }, bargap: 0.3, barmode: "overlay",
    xaxis: axis("share of the variance, %", { range: [0, 106] }),
    yaxis: {
      tickvals: y, ticktext: data.factors.map((factor) => plain(short(factor.words, narrow ? 15 : 26))),
      range: [rows.length - 0.45, -0.55], fixedrange: true, showgrid: false, zeroline: false, tickfont: { size: 11 },
    },
  });
  const told = rows.map((row) => `${row.factor} ${show(row.first_percent, 0)} % alone and ${show(row.total_percent, 0)} % in all`);
  label("shares", `Shares of the variance of ${words(data.aims[state.aim].name)}: ${told.join(", ")}.`);
}

const ends = (row, sign) => (known(row.mean_gain_percent) ? row.mean_gain_percent + sign * row.deviation_percent : null);

function drawEffects() {
  const rows = ofAim("effects"), range = span(rows.flatMap((row) => [ends(row, -1), ends(row, 1)]));
  data.factors.forEach((factor, at) => drawEffect(`effect-${at}`, factor, rows.filter((row) => row.factor === factor.name), range));
}

function drawEffect(id, factor, rows, range) {
  const x = rows.map((row, at) => (factor.is_option ? at : row.value));
  const mean = rows.map((row) => row.mean_gain_percent);
  const line = { type: "scatter", hoverinfo: "none" };
  const bars = {
    ...line, mode: "lines", x: x.flatMap((each) => [each, each, null]), y: rows.flatMap((row) => [ends(row, -1), ends(row, 1), null]),
    line: { color: OTHERS, width: 6 },
  };
  const edge = { ...line, mode: "lines", x, line: { color: BAND, width: 0 } };
  const band = [
    { ...edge, y: rows.map((row) => ends(row, -1)) },
    { ...edge, y: rows.map((row) => ends(row, 1)), fill: "tonexty", fillcolor: BAND },
  ];
  const named = factor.is_option ? { tickvals: x, ticktext: rows.map((row) => plain(short(row.value, 12))), range: [-0.5, x.length - 0.5] } : { nticks: 6 };
  draw(id, [...(factor.is_option ? [bars] : band), {
    ...line, mode: factor.is_option ? "markers" : "lines+markers", x, y: mean, line: { color: INK, width: 1.8 }, marker: { color: INK, size: 6 },
  }], {
    height: 220, margin: { l: 52, r: 10, t: 8, b: 42 },
    xaxis: axis(factor.label, named), yaxis: axis("mean gain, %", { range, nticks: 6 }),
  });
  label(id, `Main effect of ${factor.label} on ${words(data.aims[state.aim].name)}; the table below has the numbers.`);
}

// --- worth by wind ---

const angleOf = (row) => (row.aim === "speed" ? `TWA ${four(row.twa_deg)} deg` : `best VMG ${row.aim}`);
const worthOf = (factor, row) => row[`worth_${factor.name}_kn`];

function drawWinds() {
  const rows = data.tables.conditions;
  const range = span([0, ...rows.flatMap((row) => data.factors.map((factor) => worthOf(factor, row)))]);
  data.angles.forEach((angle, panel) => {
    const own = rows.filter((row) => angleOf(row) === angle);
    const lines = data.factors.map((factor, at) => ({
      type: "scatter", mode: "lines+markers", hoverinfo: "none", x: own.map((row) => row.tws_kn), y: own.map((row) => worthOf(factor, row)),
      line: { color: inkOf(at), dash: dashOf(at), width: 1.8 }, marker: { color: inkOf(at), size: 7, symbol: MARKS[at % MARKS.length] },
    }));
    draw(`wind-${panel}`, lines, {
      height: 250, margin: { l: 56, r: 12, t: 26, b: 42 }, title: { text: angle, font: { size: 13 }, x: 0.01, xanchor: "left", y: 0.98 },
      xaxis: axis("true wind speed, kn"), yaxis: axis("worth, kn", { range, zeroline: true, zerolinecolor: QUIET, nticks: 7 }),
    });
    label(`wind-${panel}`, `What each factor is worth by wind at ${angle}; the table below has the numbers.`);
  });
}

function windsKey() {
  const parts = data.factors.map((factor, at) =>
    element("span", {}, swatch(inkOf(at), dashOf(at)), `${factor.words}: ${factor.worth.join(" to ")} ${factor.unit}`));
  byId("winds-key").replaceChildren(...parts);
}

// --- map ---

const MOST_LINES = 9;

// Steps of a round size, no more than so many between two numbers.
function roundStep(low, high, most) {
  const rough = (high - low) / most || 1, power = 10 ** Math.floor(Math.log10(rough));
  return power * [1, 2, 2.5, 5, 10].find((factor) => factor * power >= rough * (1 - 1e-9));
}

// Lines of a map, and its grounds: the library colours each strip between two of them by the scale at its middle.
function linesOf(low, high) {
  const size = roundStep(low, high, MOST_LINES), start = Math.ceil(low / size) * size;
  const count = Math.max(1, Math.floor((high - start) / size) + 1), limit = Math.max(Math.abs(low), Math.abs(high)) || 1;
  const [first, last] = [start - size / 2, start + (count - 0.5) * size];
  const stops = [first, ...(first < 0 && last > 0 ? [0] : []), last];
  return {
    contours: { start, end: start + (count - 1) * size, size },
    colorscale: stops.map((value) => [(value - first) / (last - first), tint(value, limit)]),
  };
}

// Gains over two factors, all others as the best rig has them.
function mapOver(target, count) {
  const place = [...places[target.best]], line = Array.from({ length: count }, (_, at) => at / (count - 1));
  const gains = line.map((up) => line.map((across) => {
    place[state.across] = across;
    place[state.up] = up;
    return predictAt(target, place).gain;
  }));
  const [x, y] = [state.across, state.up].map((factor) => line.map((share) => valueIn(data.factors[factor], share)));
  return { x, y, gains };
}

function noMap() {
  const target = targets[state.target];
  if (data.factors.length < 2) return "A map needs two factors.";
  if (target.reason) return `No map: ${target.reason}.`;
  return known(target.best) ? "" : "No map: no rig has a result.";
}

function drawMap() {
  const reason = noMap(), target = targets[state.target];
  byId("no-map").hidden = !reason;
  byId("no-map").textContent = reason;
  for (const id of ["map", "map-help", "map-details"]) byId(id).hidden = Boolean(reason);
  if (reason) return;
  const isLocal = target.holding.length > data.most_at_once;
  const { x, y, gains } = mapOver(target, isLocal ? 21 : 41);
  const some = gains.flat().filter(known), [low, high] = [Math.min(...some), Math.max(...some)];
  const { contours, colorscale } = linesOf(low, high);
  const [across, up] = [data.factors[state.across], data.factors[state.up]];
  const marks = (rigs, look) => ({
    type: "scatter", mode: "markers", hoverinfo: "none", cliponaxis: false, x: rigs.map((at) => data.rigs.values[state.across][at]),
    y: rigs.map((at) => data.rigs.values[state.up][at]), marker: look,
  });
  draw("map", [{
    type: "contour", x, y, z: gains, showscale: false, hoverinfo: "none", connectgaps: false, colorscale, autocontour: false,
    line: { color: INK, width: 1 }, contours: { ...contours, showlabels: true, labelfont: { size: 12, color: INK }, coloring: "fill" },
  }, marks(target.lost, { symbol: "x-thin", size: 7, color: INK, line: { color: INK, width: 1.2 } }),
  marks([target.best], { symbol: "diamond", size: 13, color: "#fff", line: { color: INK, width: 2 } })], {
    height: tallness("map"), margin: { l: 60, r: 16, t: 12, b: 52 },
    xaxis: axis(across.label, { range: [across.least, across.greatest], nticks: 7 }), yaxis: axis(up.label, { range: [up.least, up.greatest] }),
  });
  mapWords(target);
}

function mapWords(target) {
  const others = data.factors.filter((_, at) => at !== state.across && at !== state.up);
  const held = others.map((factor) => `${factor.words} ${four(data.rigs.values[data.factors.indexOf(factor)][target.best])} ${factor.unit}`.trim());
  const told = [`Gain over ${data.compare_with}, %; the line's number is its gain. The function is off by ${two(target.rms)} % for rigs left out (root mean square), at most ${two(target.largest)} %.`];
  told.push(`Diamond: the best rig, ${data.rigs.rig[target.best]}${held.length ? `; other factors as it has them (${held.join(", ")})` : ""}.`);
  if (target.lost.length) told.push("Crosses: rigs without a result; nothing is drawn where they are the nearest.");
  byId("map-help").textContent = told.join(" ");
  label("map", `Map of the gain in ${target.label} over ${data.factors[state.across].label} and ${data.factors[state.up].label}; the table below has numbers.`);
}

// --- front ---

const FRONT_MARGIN = { l: 60, r: 18, t: 12, b: 52 };
let frontRanges = [[0, 1], [0, 1]];
const gainOf = (aim, at) => data.rigs.gain[aim][at];

function drawFront() {
  if (!data.front) return;
  const { aims: [one, other], rigs } = data.front;
  const all = data.rigs.rig.map((_, at) => at).filter((at) => known(gainOf(one, at)) && known(gainOf(other, at)));
  const points = (some, more) => ({ type: "scatter", mode: "markers", hoverinfo: "none", x: some.map((at) => gainOf(one, at)), y: some.map((at) => gainOf(other, at)), ...more });
  frontRanges = [one, other].map((aim) => span(all.map((at) => gainOf(aim, at))));
  const title = (aim) => `${words(data.aims[aim].name)}: gain, %`;
  draw("front", [
    points(all, { marker: { color: OTHERS, size: 5 } }),
    points(rigs, { mode: "lines+markers", line: { color: data.inks.gain, width: 1.8 }, marker: { color: data.inks.gain, size: 9 } }),
    points([state.rig], { marker: { size: 17, symbol: "circle-open", color: INK, line: { color: INK, width: 2.5 } } }),
  ], {
    height: frontHeight(), margin: FRONT_MARGIN,
    xaxis: axis(title(one), { range: frontRanges[0], zeroline: true, zerolinecolor: QUIET }), yaxis: axis(title(other), { range: frontRanges[1], zeroline: true, zerolinecolor: QUIET }),
  });
  label("front", `${words(data.aims[other].name)} against ${words(data.aims[one].name)} of all rigs, ${rigs.length} on the front. ${rigText(state.rig)}`);
}

const frontHeight = () => tallness("front");

// The rig whose mark is nearest to a place on the screen, none beyond a finger's width.
function rigUnder(clientX, clientY) {
  const box = byId("front").getBoundingClientRect(), { l, r, t, b } = FRONT_MARGIN;
  const [wide, high] = [widthOf("front") - l - r, frontHeight() - t - b];
  const share = (which, at) => (gainOf(data.front.aims[which], at) - frontRanges[which][0]) / (frontRanges[which][1] - frontRanges[which][0]);
  const away = (at) => Math.hypot(box.left + l + wide * share(0, at) - clientX, box.top + t + high * (1 - share(1, at)) - clientY);
  const some = data.rigs.rig.map((_, at) => at).filter((at) => data.front.aims.every((aim) => known(gainOf(aim, at))) && away(at) < FINGER);
  return some.sort((one, other) => away(one) - away(other))[0];
}
