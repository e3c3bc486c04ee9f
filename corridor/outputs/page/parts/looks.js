// Colours and marks that carry meaning: by width, dash and shape as well as by colour.
let COLOUR = {};
const DASHES = ["9 4", "3 3", "12 3 2 3", "6 2", "2 5", "10 6"], INK = "#22292e", HOLD = "#ffd95e";
// What a span comes to: colour, width and dash on the map; the first that holds.
const CLASSES = [
  ["short", "violation", 6, "solid"], ["unknown", "not assessed", 4.5, "7 5"], ["near", "less than 0.5 m to spare", 4, "solid"],
  ["clear", "clear", 2, "solid"], ["neutral", "nothing compared", 1.5, "2 4"]];
const OBJECTS = {road: "#8d8778", rail: "#4c4a45", water: "#6f9fbd", building: "#6d5f52", line: "#7d62a6", tree: "#6f8f63", right_of_way: "#8f8455"};
const NAMES = {road: "road", rail: "railway", water: "water", building: "building", line: "other line", tree: "tree", right_of_way: "edge of right-of-way"};
const WAYS = {rail: "8 3", line: "10 3 2 3"}, wayOf = category => WAYS[category] || "solid";
// Outages by number: colour and hatch tell them apart, and the number stands beside.
const GROUPS = [["#1f6a96", " "], ["#c07a1c", "/"], ["#7a4f7c", "x"], ["#4f7d6b", "-"], ["#3f4c57", "."], ["#a8573a", "|"]];
const groupOf = k => GROUPS[(Math.max(1, k) - 1) % GROUPS.length];

// Columns of a source from rows; every row holds every name.
function columns(names, rows) {
  const result = Object.fromEntries(names.map(name => [name, []]));
  for (const row of rows) for (const name of names) result[name].push(row[name]);
  return result;
}

const line = (points, colour, width = 1, dash = "solid", tip = "") =>
  ({xs: points.map(p => p[0]), ys: points.map(p => p[1]), colour, width, dash, tip});
const bar = (a, b, colour, width = 1, dash = "solid", tip = "") => ({x0: a[0], y0: a[1], x1: b[0], y1: b[1], colour, width, dash, tip});
const mark = (at, marker, size, colour, {fill = "#ffffff", width = 1.4, angle = 0, alpha = 1, tip = ""} = {}) =>
  ({x: at[0], y: at[1], marker, size, colour, fill, width, angle, alpha, tip});
const text = (at, words, {colour = INK, align = "left", dx = 0, dy = 0, style = "normal"} = {}) =>
  ({x: at[0], y: at[1], text: words, colour, align, dx, dy, style, tip: ""});

// A ring with a bar through it: a violation. The ring and its bar are marks of two sources.
function barred(at, chosen, tip) {
  const size = chosen ? 17 : 12, look = {fill: chosen ? HOLD : "#ffffff", width: chosen ? 3 : 2, alpha: chosen ? 1 : .85, tip};
  return [mark(at, "circle", size, COLOUR.short, look), mark(at, "dash", size * 1.35, COLOUR.short, {...look, angle: Math.PI / 4})];
}

// A key below a plot: little samples with words. Nothing of it comes from a study but what is escaped.
const escaped = words => { const span = document.createElement("span"); span.textContent = words; return span.innerHTML; };
function keyOf(entries) {
  return entries.map(([colour, width, dash, words]) => `<span class="key"><svg width="34" height="10" aria-hidden="true"><line x1="1" y1="5" x2="33" y2="5" stroke="${colour}" stroke-width="${width}" stroke-dasharray="${dash === "solid" ? "" : dash}"/></svg>${escaped(words)}</span>`).join("");
}

const dotOf = (colour, words) => `<span class="key"><svg width="14" height="10" aria-hidden="true"><circle cx="7" cy="5" r="4" fill="${colour}"/></svg>${escaped(words)}</span>`;

// Texts that do not print over each other: each keeps its place, or moves up or down by a line or two, or goes. Earlier ones stay.
function legible(names, dx, dy) {
  const taken = [];
  return names.filter(name => {
    const wide = 7.4 * name.text.length + 6, left = name.x / dx + name.dx - {left: 0, center: .5, right: 1}[name.align] * wide, y = name.y / dy - name.dy;
    for (const by of [0, -16, 16, -32, 32]) {
      if (taken.some(([a, b, w]) => a < left + wide && left < a + w && Math.abs(b - (y - by)) < 15)) continue;
      taken.push([left, y - by, wide]); name.dy += by; return true;
    }
    return false;
  });
}

// Places moved apart upward or downward so that texts do not meet: [wanted] to [given], in pixels, within bounds.
function spread(wanted, step, low, high) {
  const order = wanted.map((_, i) => i).sort((a, b) => wanted[a] - wanted[b]), given = [...wanted];
  order.forEach((i, k) => { given[i] = Math.max(wanted[i], k ? given[order[k - 1]] + step : low); });
  for (let k = order.length - 1, most = high; k >= 0; k--) { given[order[k]] = Math.min(given[order[k]], most); most = given[order[k]] - step; }
  return given;
}
