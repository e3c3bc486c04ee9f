// Drawing on canvases with sharp pixels, and the marks that carry meaning by shape as well as by colour.
let COLOUR = {};
const FONT = '12px "Source Sans 3", "Noto Sans", "DejaVu Sans", Verdana, sans-serif';
// What a span comes to: colour, width and dash on the map; the first that holds.
const CLASSES = [
  ["short", "falls short", 6, []], ["unknown", "not assessed", 4.5, [7, 5]], ["near", "less than 0.5 m to spare", 4, []],
  ["clear", "clear", 2, []], ["neutral", "nothing compared", 1.5, [2, 4]]];

function sharp(canvas) {
  const box = canvas.getBoundingClientRect(), ratio = window.devicePixelRatio || 1;
  const [w, h] = [canvas.clientWidth, canvas.clientHeight];
  if (canvas.width !== Math.round(w * ratio) || canvas.height !== Math.round(h * ratio)) {
    canvas.width = Math.round(w * ratio); canvas.height = Math.round(h * ratio);
  }
  const pen = canvas.getContext("2d");
  pen.setTransform(ratio, 0, 0, ratio, 0, 0);
  pen.clearRect(0, 0, w, h); pen.font = FONT; pen.lineJoin = "round";
  return {pen, w, h, box};
}

function stroke(pen, points, colour, width, dash = []) {
  pen.beginPath(); let open = false;
  for (const [x, y] of points) {
    if (!(isFinite(x) && isFinite(y))) { open = false; continue; }
    open ? pen.lineTo(x, y) : pen.moveTo(x, y); open = true;
  }
  pen.strokeStyle = colour; pen.lineWidth = width; pen.setLineDash(dash); pen.stroke(); pen.setLineDash([]);
}

// Text on a paper halo.
function label(pen, text, x, y, {align = "left", colour = "#22292e", bold = false} = {}) {
  pen.font = (bold ? "600 " : "") + FONT; pen.textAlign = align; pen.textBaseline = "middle";
  pen.strokeStyle = "rgba(255,255,255,.9)"; pen.lineWidth = 4; pen.strokeText(text, x, y);
  pen.fillStyle = colour; pen.fillText(text, x, y);
}

// A ring with a bar through it: what falls short.
function barred(pen, x, y, size, chosen) {
  pen.beginPath(); pen.arc(x, y, size, 0, 7); pen.fillStyle = chosen ? "#ffd95e" : "rgba(255,255,255,.85)"; pen.fill();
  pen.strokeStyle = COLOUR.short; pen.lineWidth = chosen ? 3 : 2; pen.stroke();
  pen.beginPath(); pen.moveTo(x - size, y + size); pen.lineTo(x + size, y - size); pen.stroke();
}

// Round steps for a scale: 1, 2 or 5 times a power of ten.
function roundStep(span, parts) {
  const raw = span / parts, power = 10 ** Math.floor(Math.log10(raw)), lead = raw / power;
  return power * (lead < 1.5 ? 1 : lead < 3.5 ? 2 : lead < 7.5 ? 5 : 10);
}

// A key below a drawing: little samples with words.
function keyOf(entries) {
  return entries.map(([colour, width, dash, text]) => `<span class="key"><svg width="34" height="10" aria-hidden="true"><line x1="1" y1="5" x2="33" y2="5" stroke="${colour}" stroke-width="${width}" stroke-dasharray="${dash.join(" ")}"/></svg>${text}</span>`).join("");
}
