// Figures. Everything reads without colour: lines differ in style, losses are hatched, missing results are gaps.

const INK = "#1f2a33", QUIET = "#59636b", GRID = "#d9dee2";
const PLAIN = { staticPlot: true };
const FONT = { family: '"DejaVu Sans", Verdana, sans-serif', size: 12, color: INK };
const DASHES = ["solid", "6px,2px", "2px,2px", "7px,2px,2px,2px", "1px,2px", "4px,1px,1px,1px", "10px,3px", "3px,3px",
  "8px,2px,2px,2px", "1px,3px", "5px,1px", "9px,2px,1px,2px"];

// How far a tap may be from what it means [px].
const FINGER = 32;
const widthOf = (id) => Math.max(260, document.getElementById(id).clientWidth);

function draw(id, traces, layout) {
  if (!window.Plotly) return;
  const width = widthOf(id);
  const base = {
    width, font: FONT, showlegend: false, hovermode: "closest", hoverdistance: 30, dragmode: false,
    paper_bgcolor: "#fff", plot_bgcolor: "#fff", margin: { l: 48, r: 12, t: 12, b: 40 },
  };
  return Plotly.react(id, traces, { ...base, ...layout }, PLAIN);
}

// The library takes a while to run, so words and tables are on the page before it.
function runLibrary() {
  const script = document.createElement("script");
  script.textContent = document.getElementById("library").textContent;
  document.body.append(script);
}

function label(id, text) {
  document.getElementById(id).setAttribute("aria-label", text);
}

// A piece of a line as it is drawn, for a key.
function swatch(tone, dashes) {
  const space = "http://www.w3.org/2000/svg";
  const made = document.createElementNS(space, "svg"), line = document.createElementNS(space, "line");
  for (const [key, value] of Object.entries({ width: 42, height: 12, "aria-hidden": "true" })) made.setAttribute(key, value);
  const look = { x1: 0, x2: 42, y1: 6, y2: 6, stroke: tone, "stroke-width": 2.5, "stroke-dasharray": dashes === "solid" ? "none" : dashes.replace(/px/g, "") };
  for (const [key, value] of Object.entries(look)) line.setAttribute(key, value);
  made.append(line);
  return made;
}

// The ground of a gain: blue, or brown for a loss, full at a limit and beyond.
function tint(gain, limit) {
  const share = Math.min(1, Math.abs(gain) / limit);
  const full = gain < 0 ? [222, 160, 118] : [126, 173, 207];
  return `rgb(${full.map((value) => Math.round(251 + share * (value - 251))).join(",")})`;
}

// Hatching over grounds of several colours; the bars' own colour has to be one.
const hatched = (grounds, solidity) => ({
  color: "#8a4a20", pattern: { shape: "/", size: 9, solidity, fillmode: "replace", fgcolor: "#8a4a20", bgcolor: grounds },
});

function redrawWhenResized(drawFigures) {
  let width = window.innerWidth, waiting = 0;
  window.addEventListener("resize", () => {
    if (window.innerWidth === width) return;
    width = window.innerWidth;
    cancelAnimationFrame(waiting);
    waiting = requestAnimationFrame(drawFigures);
  });
  window.addEventListener("beforeprint", drawFigures);
  window.matchMedia("print").addEventListener("change", drawFigures);
}

// One figure after the other, so that the first is there while the rest is drawn; then what listens to taps.
function startFigures(figures, listenToTaps) {
  const [first, ...rest] = figures;
  performance.mark("tables");
  runLibrary();
  first();
  listenToTaps();
  redrawWhenResized(() => { for (const figure of figures) figure(); });
  requestAnimationFrame(() => performance.mark("first-figure"));
  const next = () => {
    const figure = rest.shift();
    if (!figure) { document.documentElement.dataset.ready = "yes"; return; }
    figure();
    setTimeout(next);
  };
  requestAnimationFrame(() => setTimeout(next));
}
