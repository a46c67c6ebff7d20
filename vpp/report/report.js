// What is chosen, what follows from it, and the tables.

// --- the reading ---

function readingText() {
  const at = flat(state.option, state.wind, state.row);
  if (word("status", at) !== "converged") return `${conditionText()}: no result. ${word("reason", at)}`;
  return `${conditionText()}: boat speed ${speed(data.values.boat_speed_kn[at])} ${unitOf("kn").name}.`;
}

function readingRow(column, places) {
  const unit = unitOf(column.unit), percent = { percent: "%", 1: "" }[unit.name] ?? unit.name;
  const cells = places.map((at, index) => {
    const value = data.values[column.key][at];
    const text = show(known(value) ? value * unit.factor : null, column.decimals);
    const marks = ["boat_speed_kn", "vmg_kn"].includes(column.key) ? marksOf(at) : "";
    return { text: text + marks, of: { key: column.key, of: index ? "against" : "option" } };
  });
  return [wordHeading(column.label), ...cells, percent];
}

function notesOf(places) {
  return places.flatMap((at, index) => {
    const who = nameOf(index ? state.against : state.option), found = [];
    if (word("status", at) !== "converged") found.push([`${who}: no result (${word("status", at)}). ${word("reason", at)}`, true]);
    if (word("sail_set", at)) found.push([`${who}: sail set ${word("sail_set", at)}`, false]);
    if (data.flies && word("branch", at)) found.push([`${who}: ${word("branch", at)}`, false]);
    if (word("remark", at)) found.push([`${who}: ${word("remark", at)}`, true]);
    return found;
  });
}

function gainText(gain) {
  const base = data.made_good[flat(state.against, state.wind, state.row)];
  const marks = gainMarks(state.option, state.against, state.wind, state.row);
  const what = data.rows[state.row].aim === "speed" ? "" : " VMG";
  return `Gain ${speed(gain, 2, true)}${marks} ${unitOf("kn").name}${what} (${show((100 * gain) / base, 1, true)} %)`;
}

function drawReading() {
  const places = [flat(state.option, state.wind, state.row)];
  if (state.against !== state.option) places.push(flat(state.against, state.wind, state.row));
  const angle = { key: "twa_deg", label: "true wind angle", unit: "deg", decimals: 1 };
  const columns = [angle, ...data.columns].filter((column) => places.some((at) => known(data.values[column.key]?.[at])));
  const header = [wordHeading(""), ...places.map((_, index) => nameOf(index ? state.against : state.option)), "unit"];
  const rows = columns.map((column) => readingRow(column, places));
  table("reading-table", "", header, rows);
  const place = byId("reading-table"), gain = gainAt(state.option, state.against, state.wind, state.row);
  const lines = [element("p", { class: "chosen" }, conditionText())];
  if (places.length > 1 && known(gain)) lines.push(element("p", { id: "reading-gain" }, gainText(gain)));
  const told = notesOf(places).map(([text, isWarning]) => element("p", isWarning ? { class: "warning" } : {}, text));
  place.prepend(...lines, ...told);
  byId("status").textContent = readingText();
}

// --- tables ---

function polarTable() {
  const header = ["TWA deg", ...data.tws_kn.map((_, wind) => `TWS ${windText(wind)}`)];
  const rows = mapRows().map((row) => [rowLabel(row), ...data.tws_kn.map((_, wind) => {
    const at = flat(state.option, wind, row);
    const found = data.rows[row].aim === "speed" ? "" : ` at ${show(data.values.twa_deg[at], 1)}`;
    const value = data.values.boat_speed_kn[at];
    return known(value) ? speed(value) + marksOf(at) + found : "-";
  })]);
  table("polar-table", `${nameOf(state.option)}: boat speed, ${unitOf("kn").name}, at true wind angle and speed; - without a result`, header, rows);
}

function gainTable() {
  const header = ["TWA deg", ...data.tws_kn.map((_, wind) => `TWS ${windText(wind)}`)];
  const rows = mapRows().map((row) => [rowLabel(row), ...data.tws_kn.map((_, wind) => {
    const gain = gainAt(state.option, state.against, wind, row), text = speed(gain, 2, true);
    return { text: text + gainMarks(state.option, state.against, wind, row), lost: text.startsWith("-") && known(gain), of: { wind, row } };
  })]);
  table("gain-table", `Gain of ${nameOf(state.option)} against ${nameOf(state.against)}, ${unitOf("kn").name}`, header, rows);
}

function vmgTable() {
  const header = [wordHeading("option"), wordHeading("VMG"), ...data.tws_kn.map((_, wind) => `TWS ${windText(wind)}`)];
  const rows = data.options.flatMap((option, at) => ["upwind", "downwind"].map((aim) => [
    wordHeading(option.name), wordHeading(aim), ...data.tws_kn.map((_, wind) => {
      const made = data.made_good[flat(at, wind, best(aim))], gain = gainAt(at, state.against, wind, best(aim));
      const marks = gainMarks(at, state.against, wind, best(aim)) || marksOf(flat(at, wind, best(aim)));
      return known(made) ? `${speed(made)}${at === state.against ? "" : ` (${speed(gain, 2, true)}${marks})`}` : "-";
    })]));
  table("vmg-table", `Best VMG, ${unitOf("kn").name}, and its gain against ${nameOf(state.against)} in brackets`, header, rows);
}

function targetTable() {
  const unit = unitOf("kn").name;
  const header = [`TWS ${unit}`, wordHeading("VMG"), "TWA deg", `speed ${unit}`, `VMG ${unit}`, "heel deg", "within 0.5 %: TWA deg", "half a deg off: s/nm", "half a kn off: s/nm", wordHeading("sails, state, remarks")];
  const own = data.targets.rows.filter((row) => row.option === nameOf(state.option));
  const rows = ["upwind", "downwind"].flatMap((aim) => own.filter((row) => row.aim === aim)).map((row) => {
    const mark = row.is_extended ? data.marks.extended : "", wind = data.tws_kn.findIndex((tws) => Math.abs(tws - row.tws_kn) < 1e-6);
    const told = [row.sail_set, data.flies ? row.branch : "", row.remark, row.reason].filter(Boolean).join("; ");
    const of = (key) => ({ of: { key, aim: row.aim, wind } });
    return [
      windText(wind), wordHeading(row.aim), { text: show(row.twa_deg, 1), ...of("twa_deg") }, { text: speed(row.boat_speed_kn) + mark, ...of("boat_speed_kn") },
      { text: speed(row.vmg_kn), ...of("vmg_kn") }, show(row.heel_deg, 1), row.flat, row.half_degree,
      show(row.half_knot_lost_s_per_nm, 0), wordHeading(told),
    ];
  });
  if (rows.length) table("targets", "", header, rows);
  byId("target-notes").replaceChildren(...data.targets.notes.map((note) => element("p", {}, note)));
}

function budgetTable() {
  const at = flat(state.option, state.wind, state.row), { quantities, components, medium } = budget();
  const columns = quantities.map((quantity) => budgetColumn(at, quantity));
  const place = byId("budget-table");
  if (!columns[0]) return place.replaceChildren(element("p", { class: "warning" }, readingText()));
  const header = [wordHeading("component"), wordHeading("in"), ...quantities.map((quantity, index) => `${quantity.key.replace(/_n(m)?$/, "").replace("_", " ")}, ${columns[index].unit}`)];
  const rows = [...components, "all together"].map((name, index) => [
    wordHeading(name), wordHeading(medium[index] ?? ""),
    ...columns.map((column, which) => ({ text: column.texts[index], of: { key: quantities[which].key, component: index } })),
  ]);
  table("budget-table", quantities.map((quantity) => quantity.label).join("; "), header, rows);
}

function leverTable() {
  const { courses, rows } = data.levers, place = byId("levers");
  if (!rows.length) return place.replaceChildren(element("p", {}, "No levers are known."));
  const unit = unitOf("kn").name;
  const header = [wordHeading("lever"), "a step of", ...courses.map((course) => `${course.aim}, ${Number((course.tws_kn * unitOf("kn").factor).toFixed(2))} ${unit}`)];
  const told = rows.map((row) => [{ ...wordHeading(row.name), says: row.says }, `${row.step} ${row.unit}`, ...row.gains_kn.map((gain) => ({ text: speed(gain, 3, true), lost: known(gain) && gain < 0 }))]);
  table("levers", `What a step of each buys ${courses[0].option} in VMG, ${unit}, to first order`, header, told);
}

function inputTable() {
  const name = nameOf(state.option), sought = byId("find").value.toLowerCase();
  const rows = data.inputs[name].filter((row) => row.some((text) => text.toLowerCase().includes(sought)));
  byId("inputs-says").textContent = name === "base"
    ? `All ${data.inputs[name].length} values of base, as they were resolved.`
    : `${name}${data.options[state.option].says ? ` (${data.options[state.option].says})` : ""}: the ${data.inputs[name].length} values that differ from base. Choose base for all.`;
  table("inputs", "", ["key", "value", "unit", "origin", "what it is"].map(wordHeading), rows.map((row) => row.map(wordHeading)));
}

function remarkTables() {
  const lines = data.remark_counts.map(([told, count]) => element("li", {}, `${told}: ${count} of ${data.condition_count} conditions`));
  byId("remarks").replaceChildren(lines.length ? element("ul", {}, ...lines) : element("p", {}, "No remarks."));
  if (!data.missing_count) return byId("failures").replaceChildren(element("p", {}, "Every condition has a result."));
  const rows = data.failures.map((group) => [`${group.count}`, wordHeading(group.status), group.tws_kn, group.twa_deg, wordHeading(group.reason)]);
  table("failures", `${data.missing_count} of ${data.condition_count} conditions have no result`, ["conditions", wordHeading("status"), "TWS kn", "TWA deg", wordHeading("reason")], rows);
}

// --- what is chosen ---

function fillControls() {
  const names = data.options.map((option) => option.name);
  fill(byId("option"), names, state.option);
  fill(byId("against"), names, state.against);
  fill(byId("speed-unit"), Object.keys(SPEEDS), Object.keys(SPEEDS).indexOf(state.speed));
  fill(byId("size-unit"), Object.keys(SIZES), Object.keys(SIZES).indexOf(state.size));
  fill(byId("quantity"), budget().quantities.map((quantity) => quantity.label), state.quantity);
  fill(byId("row"), data.rows.map((row, at) => (row.aim === "speed" ? `TWA ${rowLabel(at)} deg` : `best VMG ${row.aim}`)), state.row);
  fillWinds();
}

function fillWinds() {
  fill(byId("wind"), data.tws_kn.map((_, wind) => `${windText(wind)} ${unitOf("kn").name}`), state.wind);
  const boxes = data.tws_kn.map((_, wind) => {
    const box = element("input", { type: "checkbox", value: wind });
    box.checked = state.winds.has(wind);
    box.addEventListener("change", () => { state.winds[box.checked ? "add" : "delete"](wind); drawPolar(); });
    return element("label", {}, box, windText(wind));
  });
  byId("winds").replaceChildren(element("legend", {}, `Winds drawn, ${unitOf("kn").name}`), ...boxes);
}

function showChosen() {
  const against = state.against === state.option ? "" : ` against ${nameOf(state.against)}`;
  const told = `${nameOf(state.option)}${against}`;
  const ownPlace = { "h-budget": `${nameOf(state.option)}: ${conditionText()}`, "h-targets": nameOf(state.option), "h-vmg": `against ${nameOf(state.against)}` };
  for (const place of document.querySelectorAll("section .chosen")) {
    if (place.closest("#reading")) continue;
    place.textContent = ownPlace[place.closest("section").getAttribute("aria-labelledby")] ?? told;
  }
  for (const rig of document.querySelectorAll(".rig")) showRig(rig, Number(rig.dataset.at) === state.option);
  for (const section of document.querySelectorAll(".alternatives")) section.hidden = data.options.length < 2;
  byId("against").parentElement.hidden = data.options.length < 2;
}

function showRig(rig, isShown) {
  rig.hidden = !isShown;
  const waiting = isShown ? rig.querySelector("template") : null;
  if (waiting) waiting.replaceWith(waiting.content);
}

function drawPoint() {
  byId("wind").value = state.wind;
  byId("row").value = state.row;
  showChosen();
  drawReading();
  drawPolar();
  drawGain();
  drawBudget();
  budgetTable();
}

// The polar first, which is what is seen and tapped first.
const FIGURES = [drawPolar, drawGain, () => drawVmg("vmg-up", "upwind"), () => drawVmg("vmg-down", "downwind"), drawBudget];

function drawAll() {
  drawPoint();
  drawVmg("vmg-up", "upwind");
  drawVmg("vmg-down", "downwind");
  vmgKey();
  for (const fillTable of [polarTable, gainTable, vmgTable, targetTable, leverTable, inputTable, remarkTables]) fillTable();
}

function read(at) {
  state.row = at % rowCount;
  state.wind = Math.floor(at / rowCount) % windCount;
  state.winds.add(state.wind);
  fillWinds();
  drawPoint();
}

function step(event) {
  const [along, across] = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[event.key] ?? [0, 0];
  if (!along && !across) return;
  event.preventDefault();
  const order = mapRows(), place = order.indexOf(state.row);
  const row = order[Math.min(order.length - 1, Math.max(0, place + along))];
  const wind = Math.min(windCount - 1, Math.max(0, state.wind + across));
  read(flat(state.option, wind, row));
}

// On the map rows run downwards and winds to the right.
function stepOnMap(event) {
  const turned = { ArrowLeft: "ArrowDown", ArrowRight: "ArrowUp", ArrowUp: "ArrowLeft", ArrowDown: "ArrowRight" }[event.key];
  if (turned) step({ key: turned, preventDefault: () => event.preventDefault() });
}

function listen() {
  const chosen = { option: "option", against: "against", wind: "wind", row: "row" };
  for (const [id, name] of Object.entries(chosen))
    byId(id).addEventListener("change", (event) => {
      state[name] = Number(event.target.value);
      state.winds.add(state.wind);
      fillWinds();
      if (name === "wind" || name === "row") drawPoint(); else drawAll();
    });
  byId("speed-unit").addEventListener("change", (event) => { state.speed = Object.keys(SPEEDS)[event.target.value]; fillWinds(); drawAll(); });
  byId("size-unit").addEventListener("change", (event) => { state.size = Object.keys(SIZES)[event.target.value]; drawAll(); });
  byId("quantity").addEventListener("change", (event) => { state.quantity = Number(event.target.value); drawBudget(); });
  byId("find").addEventListener("input", inputTable);
  byId("polar").addEventListener("keydown", step);
  byId("gain").addEventListener("keydown", stepOnMap);
}

function listenToTaps() {
  for (const [id, find] of [["polar", nearestOnPolar], ["gain", cellUnder]])
    byId(id).addEventListener("click", (event) => {
      const at = find(event.clientX, event.clientY);
      if (known(at)) read(at);
    });
}

function start() {
  const every = Math.max(1, Math.ceil(windCount / 5));
  data.tws_kn.forEach((_, wind) => { if ((wind - state.wind) % every === 0) state.winds.add(wind); });
  fillControls();
  drawAll();
  listen();
  requestAnimationFrame(() => setTimeout(() => startFigures(FIGURES, listenToTaps)));
}

start();
