// Figures of a report.

const AGAINST = "#a0561f";
const reaches = () => data.rows.map((row, at) => [row, at]).filter(([row]) => row.aim === "speed").map(([, at]) => at);
const best = (aim) => data.rows.findIndex((row) => row.aim === aim);
const ink = (option) => data.inks.options[option % data.inks.options.length];
const dash = (option) => DASHES[option % DASHES.length];

function windTone(wind) {
  const share = windCount > 1 ? wind / (windCount - 1) : 1;
  const [light, dark] = [[66, 128, 172], [18, 42, 70]];
  return `rgb(${light.map((value, at) => Math.round(value + share * (dark[at] - value))).join(",")})`;
}

// --- polar ---

// A line with its own points, NaN elsewhere, and where each point stands among all conditions.
function polarLine(places, is, look) {
  const joined = (at) => is(places[at]) || (look.joins && (is(places[at - 1]) || is(places[at + 1])));
  return {
    type: "scatterpolar", mode: "lines+markers", hoverinfo: "none", connectgaps: false,
    theta: places.map(angleAt), r: places.map((place, at) => (joined(at) ? speedAt(place) : null)),
    customdata: places, line: { color: look.tone, width: look.width, dash: look.dash },
    marker: {
      size: look.marker, symbol: look.symbol, color: look.tone, line: { color: look.tone, width: 1 },
      opacity: places.map((place) => (is(place) ? 1 : 0)),
    },
  };
}

const angleAt = (at) => data.values.twa_deg[at];
const speedAt = (at) => (known(data.values.boat_speed_kn[at]) ? data.values.boat_speed_kn[at] * unitOf("kn").factor : null);

function polarLines(option, wind, place) {
  const isAgainst = option !== state.option;
  const places = reaches().map((row) => flat(option, wind, row));
  const tone = isAgainst ? AGAINST : windTone(wind);
  const isThin = (at) => extended.has(at) || hullBorne.has(at);
  const line = isAgainst ? "2px,2px" : place % 2 ? "7px,2px" : "solid";
  const found = [polarLine(places, (at) => at !== undefined && !isThin(at),
    { tone, dash: line, width: isAgainst ? 1.4 : 1.8, marker: isAgainst ? 3 : 4, symbol: "circle" })];
  if (places.some((at) => extended.has(at)))
    found.push(polarLine(places, (at) => extended.has(at), { tone, dash: "1px,3px", width: 1, marker: 6, symbol: "circle-open", joins: true }));
  if (places.some((at) => hullBorne.has(at) && !extended.has(at)))
    found.push(polarLine(places, (at) => hullBorne.has(at) && !extended.has(at), { tone, dash: "7px,2px,1px,2px", width: 1, marker: 5, symbol: "square-open" }));
  return [...found, bestMarks(option, wind, tone, isThin)];
}

function bestMarks(option, wind, tone, isThin) {
  const places = ["upwind", "downwind"].map((aim) => flat(option, wind, best(aim)));
  const symbols = places.map((at, index) => (index ? "triangle-down" : "triangle-up") + (isThin(at) ? "-open" : ""));
  return {
    type: "scatterpolar", mode: "markers", hoverinfo: "none", theta: places.map(angleAt), r: places.map(speedAt),
    customdata: places, marker: { symbol: symbols, size: 9, color: tone, line: { color: tone, width: 1 } },
  };
}

// The speed at the rim, and the condition whose mark is nearest to a place on the screen, none beyond a finger's width.
let polarTop = 1;

function nearestOnPolar(x, y) {
  const disc = document.querySelector("#polar .plotbg path").getBoundingClientRect();
  const scale = disc.height / 2 / polarTop, middleY = disc.top + disc.height / 2;
  const places = [...state.winds].flatMap((wind) => data.rows.map((_, row) => flat(state.option, wind, row)));
  const away = (at) => {
    const turn = (angleAt(at) * Math.PI) / 180, out = scale * speedAt(at);
    return Math.hypot(disc.left + out * Math.sin(turn) - x, middleY - out * Math.cos(turn) - y);
  };
  const near = places.filter((at) => known(speedAt(at)) && away(at) < FINGER);
  return near.sort((one, other) => away(one) - away(other))[0];
}

function cellUnder(x, y) {
  const bars = [...document.querySelectorAll("#gain .bars .point path")];
  const place = bars.map((bar) => bar.getBoundingClientRect()).findIndex((box) => x >= box.left && x <= box.right && y >= box.top && y <= box.bottom);
  const cell = drawnCells().flat()[place];
  return cell && flat(state.option, cell.wind, cell.row);
}

// Labels step down the arc from one wind to the next, since the lines lie close together in strong wind. They
// stand between two points, so that they hide none.
function windLabels(option, winds) {
  const found = winds.map((wind, index) => {
    const places = reaches().map((row) => flat(option, wind, row));
    const gaps = places.slice(1).map((at, before) => [places[before], at]).filter((pair) => pair.every((at) => known(speedAt(at))));
    const wanted = 80 + (70 * index) / Math.max(1, winds.length - 1);
    const off = ([one, other]) => Math.abs((angleAt(one) + angleAt(other)) / 2 - wanted);
    return [wind, gaps.sort((one, other) => off(one) - off(other))[0]];
  }).filter(([, pair]) => pair).map(([wind, pair]) => [wind, middle(...pair)]);
  return {
    type: "scatterpolar", mode: "markers+text", hoverinfo: "skip", theta: found.map(([, at]) => at.theta),
    r: found.map(([, at]) => at.r), text: found.map(([wind]) => windText(wind)),
    textfont: { size: 11, color: INK }, marker: { size: 16, color: "#fff", opacity: 0.9 },
  };
}

// Half way between two points along the straight line that joins them.
function middle(one, other) {
  const along = (turn) => [one, other].reduce((sum, at) => sum + (speedAt(at) * turn((angleAt(at) * Math.PI) / 180)) / 2, 0);
  const [x, y] = [along(Math.cos), along(Math.sin)];
  return { theta: (Math.atan2(y, x) * 180) / Math.PI, r: Math.hypot(x, y) };
}

function readMark() {
  const at = flat(state.option, state.wind, state.row);
  return {
    type: "scatterpolar", mode: "markers", hoverinfo: "skip", theta: [angleAt(at)], r: [speedAt(at)],
    marker: { size: 17, symbol: "circle-open", color: INK, line: { color: INK, width: 2.5 } },
  };
}

function drawPolar() {
  const winds = [...state.winds].sort((one, other) => one - other);
  const shown = [state.option, ...(state.against === state.option ? [] : [state.against])];
  const lines = shown.toReversed().flatMap((option) => winds.flatMap((wind, place) => polarLines(option, wind, place)));
  const width = widthOf("polar"), height = Math.min(2 * width - 60, window.matchMedia("print").matches ? 520 : 760);
  const unit = unitOf("kn").name;
  polarTop = 1.06 * Math.max(1, ...shown.flatMap((option) => winds.flatMap((wind) => data.rows.map((_, row) => speedAt(flat(option, wind, row)) ?? 0))));
  draw("polar", [...lines, windLabels(state.option, winds), readMark()], {
    height, margin: { l: 8, r: 36, t: 30, b: 26 },
    polar: {
      sector: [-90, 90], bgcolor: "#fff",
      angularaxis: { rotation: 90, direction: "clockwise", dtick: 15, gridcolor: GRID, linecolor: QUIET, tickfont: { size: 11 } },
      radialaxis: { angle: 90, range: [0, polarTop], gridcolor: GRID, tickfont: { size: 10, color: QUIET }, tickangle: 90, nticks: 8 },
    },
  });
  label("polar", `Polar of ${nameOf(state.option)}, boat speed in ${unit} in ${winds.length} winds. ${readingText()}`);
  polarKey(shown, winds, unit);
}

function polarKey(shown, winds, unit) {
  const told = [`On the lines: true wind speed, ${unit}; every other wind is dashed.`];
  if (shown.length > 1) told.push(`Dotted brown: ${nameOf(shown[1])}.`);
  const places = shown.flatMap((option) => winds.flatMap((wind) => data.rows.map((_, row) => flat(option, wind, row))));
  if (places.some((at) => extended.has(at))) told.push(`Finely dotted and hollow: ${data.extended_says}.`);
  if (places.some((at) => hullBorne.has(at))) told.push("Dash-dotted and open: hull-borne; all others foil-borne.");
  const missing = places.filter((at) => word("status", at) !== "converged").length;
  if (missing) told.push(`Gaps: ${missing} of ${places.length} conditions have no result.`);
  document.querySelector("#polar-help .key").textContent = told.join(" ");
}

// --- gain map ---

const mapRows = () => [best("upwind"), ...reaches(), best("downwind")];

const shade = (gain) => (known(gain) ? tint(gain, data.shade_limit_kn) : "#fff");

const isLoss = (gain) => known(gain) && Number(speed(gain)) < 0;

function gainCells() {
  const rows = mapRows(), found = [];
  rows.forEach((row, place) => {
    // best VMG stands apart from the angles
    const top = place + (place > 0 ? 0.4 : 0) + (place === rows.length - 1 ? 0.4 : 0);
    for (let wind = 0; wind < windCount; wind++)
      found.push({ wind, row, top, gain: gainAt(state.option, state.against, wind, row), marks: gainMarks(state.option, state.against, wind, row) });
  });
  return found;
}

function gainTrace(cells, marker) {
  const isRead = (each) => each.wind === state.wind && each.row === state.row;
  return {
    type: "bar", hoverinfo: "none", x: cells.map((each) => each.wind), base: cells.map((each) => each.top), y: cells.map(() => 1),
    width: cells.map(() => 1),
    marker: { ...marker, line: { color: cells.map((each) => (isRead(each) ? INK : GRID)), width: cells.map((each) => (isRead(each) ? 3 : 0.5)) } },
  };
}

// Numbers on the cells are points with words, which unlike words on bars need no measuring.
function gainNumbers(cells, size) {
  return {
    type: "scatter", mode: "text", hoverinfo: "skip", x: cells.map((each) => each.wind), y: cells.map((each) => each.top + 0.5),
    text: cells.map((each) => (known(each.gain) ? speed(each.gain, 2, true) + each.marks : "\u00d7")),
    textfont: { size, color: INK, style: cells.map((each) => (each.marks.includes(data.marks.extended) ? "italic" : "normal")) },
  };
}

// Cells as they are drawn: those that are not hatched, then losses.
const drawnCells = () => {
  const cells = gainCells();
  return [cells.filter((each) => !isLoss(each.gain)), cells.filter((each) => isLoss(each.gain))];
};

function gainTraces(size) {
  const [plainCells, losses] = drawnCells();
  return [
    gainTrace(plainCells, { color: plainCells.map((each) => shade(each.gain)) }),
    gainTrace(losses, hatched(losses.map((each) => shade(each.gain)), 0.06)),
    gainNumbers([...plainCells, ...losses], size),
  ];
}

function drawGain() {
  if (data.options.length < 2) return;
  const rows = mapRows(), cells = gainCells(), width = widthOf("gain");
  const narrow = width < 560, left = narrow ? 34 : 92;
  const size = Math.max(7, Math.min(11, ((width - left - 14) / windCount) / 4));
  const tops = rows.map((row) => cells.find((each) => each.row === row).top);
  draw("gain", gainTraces(size), {
    height: 70 + 21 * (rows.length + 1), margin: { l: left, r: 12, t: 8, b: 44 }, bargap: 0, barmode: "overlay",
    xaxis: {
      tickvals: data.tws_kn.map((_, wind) => wind), ticktext: data.tws_kn.map((_, wind) => windText(wind)), range: [-0.5, windCount - 0.5],
      title: { text: `true wind speed, ${unitOf("kn").name}`, font: { size: 12 } }, fixedrange: true, showgrid: false, zeroline: false,
    },
    yaxis: {
      tickvals: tops.map((top) => top + 0.5), ticktext: rows.map((row) => (narrow ? rowLabel(row).replace("best VMG ", "") : rowLabel(row))),
      range: [tops.at(-1) + 1, 0], fixedrange: true, showgrid: false, zeroline: false, tickfont: { size: 11 },
    },
  });
  label("gain", `Gain of ${nameOf(state.option)} against ${nameOf(state.against)} by wind and angle. ${readingText()}`);
  gainKey(cells);
}

function gainKey(cells) {
  const unit = unitOf("kn").name, told = [`Numbers in ${unit}; rows: true wind angle, deg; shade full at \u00b1${speed(data.shade_limit_kn)} ${unit} and beyond.`];
  if (cells.some((each) => each.marks.includes("^"))) told.push(`^ only ${nameOf(state.option)} is foil-borne.`);
  if (cells.some((each) => each.marks.includes("v"))) told.push(`v only ${nameOf(state.against)} is foil-borne.`);
  if (cells.some((each) => each.marks.includes(data.marks.extended))) told.push(`Italic, ${data.marks.extended}: ${data.extended_says}.`);
  document.querySelector("#gain-help .key").textContent = told.join(" ");
}

// --- gain in best VMG by wind ---

function drawVmg(id, aim) {
  if (data.options.length < 2) return;
  const row = best(aim), unit = unitOf("kn");
  const traces = data.options.map((_, option) => ({
    type: "scatter", mode: "lines+markers", hoverinfo: "none", connectgaps: false, x: data.tws_kn.map((tws) => tws * unit.factor),
    y: data.tws_kn.map((_, wind) => {
      const marks = gainMarks(option, state.against, wind, row), gain = gainAt(option, state.against, wind, row);
      return known(gain) && !/[v^]/.test(marks) ? gain * unit.factor : null;
    }),
    line: { color: ink(option), dash: dash(option), width: option === state.option ? 3 : 1.5 },
    marker: { size: 7, color: ink(option), symbol: data.tws_kn.map((_, wind) => (gainMarks(option, state.against, wind, row).includes(data.marks.extended) ? "circle-open" : "circle")) },
  }));
  draw(id, traces, {
    height: 250, margin: { l: 62, r: 14, t: 26, b: 42 }, title: { text: `VMG ${aim}`, font: { size: 13 }, x: 0.01, xanchor: "left", y: 0.98 },
    xaxis: { title: { text: `true wind speed, ${unit.name}`, font: { size: 12 } }, fixedrange: true, gridcolor: GRID, zeroline: false },
    yaxis: { title: { text: `gain, ${unit.name}`, font: { size: 12 } }, fixedrange: true, gridcolor: GRID, zerolinecolor: QUIET, tickformat: "+.2f" },
  });
  label(id, `Gain in VMG ${aim} of every option against ${nameOf(state.against)}, by wind; the table below has the numbers.`);
}

function vmgKey() {
  const parts = data.options.map((option, at) => element("span", {}, swatch(ink(at), dash(at)), option.name));
  const foils = data.flies ? [element("span", {}, "Left out: gains between a foil-borne and a hull-borne boat.")] : [];
  document.getElementById("vmg-key").replaceChildren(...parts, ...foils);
}

// --- budget ---

// Numbers rounded so that they add up to the rounded total: the units that are missing go to those that lost most.
function addUp(values, decimals) {
  const scale = 10 ** decimals, scaled = values.map((value) => value * scale);
  const total = Math.round(scaled.reduce((sum, value) => sum + value, 0));
  const units = scaled.map(Math.floor);
  const missing = total - units.reduce((sum, value) => sum + value, 0);
  const order = scaled.map((value, at) => at).sort((one, other) => (scaled[other] - units[other]) - (scaled[one] - units[one]));
  order.slice(0, missing).forEach((at) => { units[at] += 1; });
  return [...units, total].map((unit) => show(unit / scale, decimals));
}

function budgetColumn(at, quantity) {
  const values = budget().values[quantity.key][at];
  if (!values) return null;
  const unit = unitOf(quantity.unit), found = values.map((value) => value * unit.factor);
  const decimals = Math.max(...found.map(Math.abs)) >= 100 ? 0 : 1;
  return { values: found, texts: addUp(found, decimals), unit: unit.name };
}

function drawBudget() {
  const at = flat(state.option, state.wind, state.row), quantity = budget().quantities[state.quantity];
  const column = budgetColumn(at, quantity), place = document.getElementById("budget");
  place.hidden = !column;
  if (!column) return;
  const { components } = budget(), ends = [];
  column.values.reduce((sum, value) => { ends.push(sum + value); return sum + value; }, 0);
  const base = ends.map((end, index) => end - column.values[index]);
  const narrow = widthOf("budget") < 560;
  const [gains, losses] = [false, true].map((isNegative) => column.values.map((value) => (value < 0 === isNegative ? value : null)));
  const bars = { type: "bar", orientation: "h", hoverinfo: "none", y: components.map((_, index) => index), base };
  draw("budget", [{ ...bars, x: gains, marker: { color: data.inks.gain } }, { ...bars, x: losses, marker: hatched("#f4e3d7", 0.15) }, {
    type: "scatter", mode: "text", hoverinfo: "none", x: ends.map((end, index) => Math.max(end, base[index])), y: components.map((_, index) => index),
    text: column.texts.slice(0, -1).map((text) => `\u2009${text}`), textposition: "middle right", textfont: { size: 11, color: INK }, cliponaxis: false,
  }], {
    height: 70 + 22 * components.length, margin: { l: narrow ? 110 : 170, r: 56, t: 6, b: 44 }, bargap: 0.35, barmode: "overlay",
    xaxis: { title: { text: `${column.unit}, adding up to ${column.texts.at(-1)} ${column.unit}`, font: { size: 12 } }, fixedrange: true, gridcolor: GRID, zerolinecolor: INK, nticks: narrow ? 4 : 8 },
    yaxis: { tickvals: components.map((_, index) => index), ticktext: components.map((name) => plain(short(name, narrow ? 15 : 24))), range: [components.length - 0.4, -0.6], fixedrange: true, showgrid: false, zeroline: false, tickfont: { size: 11 } },
  });
  label("budget", `${quantity.label}, by component, at ${conditionText()}, of ${nameOf(state.option)}; the table below has the numbers.`);
}
