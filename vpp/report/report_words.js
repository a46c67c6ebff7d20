// Numbers and units of a report.

let budgetData = null;
const budget = () => budgetData ??= JSON.parse(document.getElementById("budget-data").textContent);

const SPEEDS = { kn: 1, "m/s": 1852 / 3600, "km/h": 1.852 };
const SIZES = {
  "m, N": { m: [1, "m"], N: [1, "N"] },
  "ft, lbf": { m: [1 / 0.3048, "ft"], N: [1 / 4.4482216152605, "lbf"] },
};

const windCount = data.tws_kn.length;
const rowCount = data.rows.length;
const extended = new Set(data.extended);
const hullBorne = new Set(data.hull_borne);
const state = {
  option: data.options.length > 1 ? 1 : 0, against: 0, wind: Math.floor((windCount - 1) / 2), row: 0,
  winds: new Set(), speed: "kn", size: "m, N", quantity: 0,
};
state.row = data.rows.findIndex((row) => row.aim === "upwind");

const flat = (option, wind, row) => (option * windCount + wind) * rowCount + row;
const word = (name, at) => data.words[name].texts[data.words[name].at[at]];
const nameOf = (option) => data.options[option].name;

// The factor to the unit that is chosen, and its name. A unit is made of knots, metres and newtons.
function unitOf(unit) {
  const size = SIZES[state.size];
  const parts = { kn: [SPEEDS[state.speed], state.speed], m: size.m, N: size.N };
  const [above, below] = unit.split("/");
  let factor = 1;
  const names = above.split(" ").map((part) => {
    if (!parts[part]) return part;
    factor *= parts[part][0];
    return parts[part][1];
  });
  if (below && parts[below]) factor /= parts[below][0];
  const under = below ? "/" + (parts[below]?.[1] ?? below) : "";
  return { factor, name: names.join(" ") + under };
}

const speed = (value, decimals = 2, signed = false) =>
  show(known(value) ? value * unitOf("kn").factor : null, decimals, signed);
const windText = (wind) => `${Number((data.tws_kn[wind] * unitOf("kn").factor).toFixed(2))}`;
const marksOf = (at) => (extended.has(at) ? data.marks.extended : "") + (hullBorne.has(at) ? data.marks.hull : "");

function rowLabel(row) {
  const { aim, twa_deg: angle } = data.rows[row];
  return aim === "speed" ? `${Number(angle.toFixed(2))}` : `best VMG ${aim === "upwind" ? "up" : "down"}`;
}

function conditionText() {
  const row = data.rows[state.row];
  const angle = row.aim === "speed" ? `TWA ${rowLabel(state.row)} deg` : `best VMG ${row.aim}`;
  return `TWS ${windText(state.wind)} ${unitOf("kn").name}, ${angle}`;
}

function gainAt(option, against, wind, row) {
  const [one, other] = [data.made_good[flat(option, wind, row)], data.made_good[flat(against, wind, row)]];
  return known(one) && known(other) ? one - other : null;
}

function gainMarks(option, against, wind, row) {
  const places = [flat(option, wind, row), flat(against, wind, row)];
  if (!known(gainAt(option, against, wind, row))) return "";
  const [flies, floats] = places.map((at) => word("branch", at) === "foil-borne");
  const between = flies === floats ? "" : flies ? "^" : "v";
  return (places.some((at) => extended.has(at)) ? data.marks.extended : "") + between;
}
