// Words, numbers and tables of a page. Words from files enter it as text and never as markup.

const data = JSON.parse(document.getElementById("data").textContent);
const byId = (id) => document.getElementById(id);
const known = (value) => value !== null && value !== undefined;

// What a plotting library reads as markup is spelled out.
const plain = (text) => text.replace(/&/g, "&amp;").replace(/</g, "&lt;").replace(/>/g, "&gt;");
const short = (text, most) => {
  const letters = Array.from(text);
  return letters.length > most ? letters.slice(0, most - 1).join("") + "\u2026" : text;
};

function show(value, decimals, signed = false) {
  if (!known(value) || !Number.isFinite(value)) return "-";
  const told = value.toFixed(decimals);
  if (Number(told) === 0) return told.replace("-", "");
  return signed && value > 0 ? "+" + told : told;
}

function element(name, attributes = {}, ...inside) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  made.append(...inside);
  return made;
}

// A cell is a text, or { text, says, words, lost, of }; the first of a row is its heading.
function cell(told, isHeading) {
  const of = typeof told === "object" ? told : { text: told };
  // keys of a boat file may be broken where their words end
  const parts = of.says ? of.text.split(/(?<=[._])/).flatMap((part) => [part, element("wbr")]) : [of.text];
  const made = element(isHeading ? "th" : "td", isHeading ? { scope: "row" } : {}, ...parts);
  if (of.words) made.classList.add("words");
  if (of.says) made.append(element("small", {}, of.says));
  if (of.lost) made.classList.add("lost");
  for (const [key, value] of Object.entries(of.of ?? {})) made.dataset[key] = value;
  return made;
}

function table(place, caption, header, rows) {
  const head = element("tr", {}, ...header.map((told) => {
    const made = element("th", { scope: "col" }, told.text ?? told);
    if (told.words) made.classList.add("words");
    return made;
  }));
  const body = rows.map((row) => element("tr", {}, ...row.map((told, at) => cell(told, at === 0))));
  const made = element("table", {}, element("thead", {}, head), element("tbody", {}, ...body));
  if (caption) made.prepend(element("caption", {}, caption));
  document.getElementById(place).replaceChildren(made);
}

const wordHeading = (text) => ({ text, words: true });

function fill(select, texts, chosen) {
  select.replaceChildren(...texts.map((text, at) => element("option", { value: at }, text)));
  select.value = chosen;
}
