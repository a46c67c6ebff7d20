// What is chosen, what follows from it, and the tables of a study.

const state = { aim: 0, target: 0, across: data.aims[0].leading[0], up: data.aims[0].leading[1] ?? 0, rig: 0 };
const startingRig = targets.find((target) => known(target.best))?.best ?? 0;
state.rig = data.front ? data.front.rigs[0] : startingRig;

const gain = (value, decimals = 2) => ({ text: show(value, decimals, true), lost: known(value) && Number(value.toFixed(decimals)) < 0 });
const rangeText = (factor) => (factor.levels.length ? factor.levels.map(four).join(", ") : `${four(factor.least)} to ${four(factor.greatest)}`);
const tightestOf = (at) => data.rigs.tightest.texts[data.rigs.tightest.at[at]];

// --- tables ---

function factorTable() {
  const rows = data.factors.map((factor) => [
    { text: factor.name, words: true }, wordHeading(rangeText(factor)), wordHeading(factor.unit), wordHeading(factor.distribution),
    wordHeading(factor.keys.join(" + ") || "option of the boat file"),
  ]);
  table("factors", "", ["factor", "range or values", "unit", "distribution", "key"].map(wordHeading), rows);
}

function bestTables() {
  const hasLimits = data.tables.best.some((row) => known(row.room_percent));
  const header = [wordHeading("place"), "rig", "gain, %", "behind the best, %", ...data.factors.map((factor) => factor.label)];
  if (hasLimits) header.push("left to the limit, %", wordHeading("tightest limit"));
  byId("best").replaceChildren(...data.aims.map(({ name }, at) =>
    element("div", { id: `best-${at}`, class: "scroll", tabindex: 0, role: "region", "aria-label": `Best rigs, ${words(name)}` })));
  data.aims.forEach(({ name }, at) => {
    const rows = data.tables.best.filter((row) => row.aim === name).map((row) => {
      const of = (key) => ({ of: { key, rig: row.rig } });
      const told = [
        `${row.place}`, { text: `${row.rig}`, ...of("rig") }, { ...gain(row[`gain_${name}_percent`]), ...of(`gain_${name}_percent`) },
        { text: show(row.behind_best_percent, 2), ...of("behind_best_percent") }, ...data.factors.map((factor) => ({ text: four(row[factor.name]), ...of(factor.name) })),
      ];
      return hasLimits ? [...told, { text: show(row.room_percent, 2), ...of("room_percent") }, wordHeading(row.tightest ?? "")] : told;
    });
    if (rows.length) table(`best-${at}`, `${words(name)}: gain over ${data.compare_with}`, header, rows);
    else byId(`best-${at}`).replaceChildren(element("p", {}, `${words(name)}: no rig has a result in all conditions that count.`));
  });
}

function shareTables() {
  const header = [wordHeading("aim"), wordHeading("factor"), "alone, %", "in all, %", "of rigs left out the polynomial explains, %", "rigs", wordHeading("reason")];
  table("shares-table", "", header, data.tables.shares.map((row) => [
    wordHeading(words(row.aim)), wordHeading(row.factor), { text: show(row.first_percent, 1), of: { aim: row.aim, factor: row.factor, key: "first_percent" } },
    { text: show(row.total_percent, 1), of: { aim: row.aim, factor: row.factor, key: "total_percent" } }, show(row.explained_percent, 1), `${row.rigs}`, wordHeading(row.reason),
  ]));
  if (!data.tables.interactions.length) return;
  table("pairs-table", "What two factors do together", [...["aim", "factor", "other"].map(wordHeading), "share, %"], data.tables.interactions.map((row) => [
    wordHeading(words(row.aim)), wordHeading(row.factor), wordHeading(row.other), show(row.share_percent, 1)]));
}

function effectTable() {
  const header = [wordHeading("factor"), "value", wordHeading("unit"), "mean gain, %", "standard deviation, %", "rigs"];
  table("effects-table", words(data.aims[state.aim].name), header, ofAim("effects").map((row) => {
    const of = (key) => ({ of: { key, factor: row.factor, value: row.value } });
    return [
      wordHeading(row.factor), four(row.value), wordHeading(row.unit), { ...gain(row.mean_gain_percent), ...of("mean_gain_percent") },
      { text: show(row.deviation_percent, 2), ...of("deviation_percent") }, `${row.rigs}`,
    ];
  }));
}

function conditionTable() {
  const header = [
    wordHeading("TWS kn"), wordHeading("at"), `${data.compare_with}, kn`, "best, kn", "gain, kn", "rig", ...data.factors.map((factor) => `best ${factor.label}`),
    ...data.factors.map((factor) => `worth of ${factor.words}, kn`), "without a result, %",
  ];
  table("winds-table", "", header, data.tables.conditions.map((row, at) => {
    const of = (key) => ({ of: { key, condition: at } });
    return [
      four(row.tws_kn), wordHeading(angleOf(row)), { text: show(row.reference_kn, 2), ...of("reference_kn") }, { text: show(row.best_kn, 2), ...of("best_kn") },
      { ...gain(row.gain_kn), ...of("gain_kn") }, row.best_rig < 0 ? "-" : `${row.best_rig}`, ...data.factors.map((factor) => four(row[`best_${factor.name}`])),
      ...data.factors.map((factor) => ({ ...gain(worthOf(factor, row), 3), ...of(`worth_${factor.name}_kn`) })), show(row.failed_percent, 1),
    ];
  }));
}

// Filled where it is looked at, since it takes a while to work out.
function mapTable() {
  if (noMap() || !byId("map-details").open) return;
  const { x, y, gains } = mapOver(targets[state.target], 7), [across, up] = [data.factors[state.across], data.factors[state.up]];
  const header = [`${up.label} \u2191, ${across.label} \u2192`, ...x.map(four)];
  table("map-table", `Gain in ${targets[state.target].label}, %; - where nothing is said`, header,
    y.map((value, row) => [four(value), ...gains[row].map((each) => gain(each))]).toReversed());
}

function frontTable() {
  if (!data.front) return;
  const header = [wordHeading("rig"), ...data.factors.map((factor) => factor.label), ...data.aims.map(({ name }) => `${words(name)}, %`)];
  table("front-table", "", header, data.front.rigs.map((at) => [
    `${data.rigs.rig[at]}`, ...data.rigs.values.map((values) => four(values[at])), ...data.aims.map((_, aim) => gain(gainOf(aim, at)))]));
}

function failureTable() {
  const rows = data.tables.failures.map((row) => [`${row.conditions}`, `${row.rigs}`, wordHeading(row.status), wordHeading(row.reason)]);
  if (!rows.length) return byId("failures").replaceChildren(element("p", {}, "Every condition has a result."));
  table("failures", "Numbers in a reason are not told apart.", [wordHeading("conditions"), "rigs", wordHeading("status"), wordHeading("reason")], rows);
}

// --- the rig that is read ---

const rigText = (at) => `Rig ${data.rigs.rig[at]}: ${data.factors.map((factor, which) => `${factor.name} ${four(data.rigs.values[which][at])}`).join(", ")}; `
  + `${data.aims.map(({ name }, aim) => `${words(name)} ${show(gainOf(aim, at), 2, true)} %`).join(", ")}.`;

function drawReading() {
  if (!data.front) return;
  const at = state.rig;
  const rows = data.factors.map((factor, which) => [wordHeading(factor.words), { text: four(data.rigs.values[which][at]), of: { key: factor.name } }, wordHeading(factor.unit)]);
  rows.push(...data.aims.map(({ name }, aim) => [wordHeading(`gain, ${words(name)}`), { ...gain(gainOf(aim, at)), of: { key: `gain_${name}_percent` } }, wordHeading("%")]));
  if (tightestOf(at)) rows.push([{ ...wordHeading("left to the tightest limit"), says: tightestOf(at) }, show(data.rigs.room[at], 2), wordHeading("%")]);
  table("reading-table", data.front.rigs.includes(at) ? "on the front" : "not on the front", [wordHeading(`rig ${data.rigs.rig[at]}`), "value", wordHeading("unit")], rows);
  byId("status").textContent = rigText(at);
  drawFront();
}

function readRig(at) {
  state.rig = at;
  drawReading();
}

function stepAlongFront(event) {
  const by = { ArrowLeft: 1, ArrowDown: -1, ArrowRight: -1, ArrowUp: 1 }[event.key];
  if (!by) return;
  event.preventDefault();
  const { rigs } = data.front, place = rigs.indexOf(state.rig);
  readRig(rigs[place < 0 ? 0 : Math.min(rigs.length - 1, Math.max(0, place + by))]);
}

// --- a rig to try ---

const triedValues = () => data.factors.map((_, at) => byId(`try-${at}`).valueAsNumber);

// In few digits, and in the range as before.
const rounded = ({ least, greatest }, value) => Math.min(greatest, Math.max(least, Number(value.toPrecision(4))));

function fieldOf(factor, at) {
  const about = { min: factor.least, max: factor.greatest, step: "any" };
  const field = element("input", { type: "number", id: `try-${at}`, inputmode: "decimal", ...about });
  const slider = element("input", { type: "range", id: `slide-${at}`, "aria-label": `${factor.label}, slider`, ...about });
  field.addEventListener("input", () => { slider.value = field.value; tryRig(); });
  slider.addEventListener("input", () => {
    field.value = rounded(factor, slider.valueAsNumber);
    tryRig();
  });
  const told = `${rangeText(factor)} ${factor.unit}`.trim();
  return element("div", { class: "field" }, element("label", {}, factor.label, field), slider, element("span", { class: "help" }, told));
}

function setFields(rig) {
  data.factors.forEach((factor, at) => {
    byId(`try-${at}`).value = rounded(factor, data.rigs.values[at][rig]);
    byId(`slide-${at}`).value = byId(`try-${at}`).value;
  });
  tryRig();
}

function refusal(values) {
  const wrong = data.factors.filter((factor, at) => !(values[at] >= factor.least && values[at] <= factor.greatest));
  return wrong.map((factor) => `${factor.words} is outside ${four(factor.least)} to ${four(factor.greatest)} ${factor.unit}`.trim()).join("; ");
}

function tryRig() {
  const values = triedValues(), refused = refusal(values);
  const found = targets.slice(0, data.aims.length).map((target) => ({ target, ...predict(target, values) }));
  byId("try-refused").hidden = !refused;
  byId("try-refused").textContent = refused ? `Nothing is said: ${refused}.` : "";
  const isSilent = found.some(({ reason }) => reason && !refused);
  const header = [wordHeading("aim"), "gain, %", "off by, %", "at most, %", ...(isSilent ? [wordHeading("")] : [])];
  table("try", `Predicted gain over ${data.compare_with}; off by, for rigs left out: root mean square, and at most`, header, found.map(({ target, gain: told, reason }) => [
    wordHeading(target.label), { ...gain(told), of: { aim: target.aim, gain: told ?? "" } }, two(target.rms), two(target.largest), ...(isSilent ? [wordHeading(reason)] : [])]));
  byId("try-status").textContent = found.map(({ target, gain: told }) => `${target.label} ${show(told, 2, true)} %`).join(", ");
}

function startTrying() {
  const isOption = data.factors.some((factor) => factor.is_option);
  byId("take").hidden = isOption;
  if (isOption) {
    byId("fields").replaceChildren(element("p", { class: "warning" }, `Nothing can be tried: ${targets[0].reason}.`));
    return;
  }
  byId("fields").replaceChildren(...data.factors.map(fieldOf));
  byId("fields").addEventListener("submit", (event) => event.preventDefault());
  setFields(startingRig);
}

// --- what is chosen ---

function showChosen() {
  document.querySelector("section[aria-labelledby=h-shares] .chosen").textContent = words(data.aims[state.aim].name);
  const [across, up] = [data.factors[state.across], data.factors[state.up]];
  document.querySelector("#map-section .chosen").textContent = `${targets[state.target].label}, over ${across.words} and ${up.words}`;
}

function aimChosen() {
  showChosen();
  effectTable();
  drawShares();
  drawEffects();
}

function mapChosen() {
  showChosen();
  drawMap();
  mapTable();
}

function chooseAim(event) {
  state.aim = Number(event.target.value);
  aimChosen();
}

// Two factors that are the same change places with what the other was.
function chooseFactor(name, other) {
  return (event) => {
    const before = state[name];
    state[name] = Number(event.target.value);
    if (state[name] === state[other]) state[other] = before;
    byId(other).value = state[other];
    mapChosen();
  };
}

function panels(place, prefix, count) {
  byId(place).replaceChildren(...Array.from({ length: count }, (_, at) => element("div", { id: `${prefix}-${at}`, class: "figure", role: "img" })));
}

function listen() {
  byId("aim").addEventListener("change", chooseAim);
  byId("target").addEventListener("change", (event) => { state.target = Number(event.target.value); mapChosen(); });
  byId("across").addEventListener("change", chooseFactor("across", "up"));
  byId("up").addEventListener("change", chooseFactor("up", "across"));
  byId("map-details").addEventListener("toggle", mapTable);
  byId("front").addEventListener("keydown", stepAlongFront);
  byId("take").addEventListener("click", () => { setFields(state.rig); byId("try-0").focus(); });
}

function listenToTaps() {
  byId("front").addEventListener("click", (event) => {
    const at = rigUnder(event.clientX, event.clientY);
    if (known(at)) readRig(at);
  });
}

function fillControls() {
  fill(byId("aim"), data.aims.map(({ name }) => words(name)), state.aim);
  fill(byId("target"), targets.map((target) => target.label), state.target);
  for (const id of ["across", "up"]) fill(byId(id), data.factors.map((factor) => factor.label), state[id]);
  byId("front-section").hidden = !data.front;
}

function start() {
  panels("effects", "effect", data.factors.length);
  panels("winds", "wind", data.angles.length);
  fillControls();
  for (const fillTable of [factorTable, bestTables, shareTables, effectTable, conditionTable, frontTable, failureTable, windsKey]) fillTable();
  showChosen();
  drawReading();
  startTrying();
  listen();
  requestAnimationFrame(() => setTimeout(() => startFigures([drawShares, drawEffects, drawWinds, drawFront, drawMap], listenToTaps)));
}

start();
