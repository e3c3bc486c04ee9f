// The block of data, read: a table is an object of columns; a text column answers with its text, null where there is none.
const KINDS = {uint8: Uint8Array, int8: Int8Array, int16: Int16Array, int32: Int32Array, float32: Float32Array, float64: Float64Array};
const UNKNOWN = {int16: -32768, int32: -2147483648};

async function readData(text) {
  const stream = new Blob([bytesOf(text.trim())]).stream().pipeThrough(new DecompressionStream("deflate"));
  const whole = await new Response(stream).arrayBuffer();
  const length = new DataView(whole).getUint32(0, true), start = 4 + length;
  return restore(JSON.parse(new TextDecoder().decode(new Uint8Array(whole, 4, length))), whole, start);
}

// Bytes of a text in Base64: by the browser where it can.
function bytesOf(text) {
  if (Uint8Array.fromBase64) return Uint8Array.fromBase64(text);
  const letters = atob(text), bytes = new Uint8Array(letters.length);
  for (let i = 0; i < bytes.length; i++) bytes[i] = letters.charCodeAt(i);
  return bytes;
}

function restore(item, data, start) {
  if (Array.isArray(item)) return item.map(each => restore(each, data, start));
  if (item === null || typeof item !== "object") return item;
  if ("array" in item) return new Column(new KINDS[item.array](data, start + item.at, item.n), item.scale, UNKNOWN[item.array]);
  if ("codes" in item && "texts" in item) return new Texts(item.texts, restore(item.codes, data, start).raw);
  return Object.fromEntries(Object.entries(item).map(([key, value]) => [key, restore(value, data, start)]));
}

class Column {
  constructor(raw, scale, unknown) { Object.assign(this, {raw, scale, unknown, length: raw.length, numeric: true}); }
  at(i) { const v = this.raw[i]; return v === this.unknown ? NaN : v * this.scale; }
}

class Texts {
  constructor(texts, codes) { Object.assign(this, {texts, codes, length: codes.length, numeric: false}); }
  at(i) { const c = this.codes[i]; return c < 0 ? null : this.texts[c]; }
}

const range = n => Array.from({length: n}, (_, i) => i);
const rowsOf = table => Object.values(table)[0].length;

// Shape of a wire: drops at 1/4, 1/2 and 3/4 of it, zero at its ends, joined by the polynomial of degree four.
function drop(d0, d1, d2, t) {
  const a = t * (t - 1);
  return a * (d0 * (t - .5) * (t - .75) / -.0234375 + d1 * (t - .25) * (t - .75) / .015625 + d2 * (t - .25) * (t - .5) / -.0234375);
}

// One wire as points: along and right of the chord of its span, and elevation [m].
function wirePoints(wires, row, length, count) {
  const get = name => wires[name].at(row), points = [];
  const [x0, x1, o0, o1, z0, z1] = [get("x0"), get("x1") + length, get("o0"), get("o1"), get("z0"), get("z1")];
  const [d0, d1, d2, bow] = [get("d0"), get("d1"), get("d2"), get("bow")];
  for (let i = 0; i <= count; i++) {
    const t = i / count;
    points.push([x0 + t * (x1 - x0), o0 + t * (o1 - o0) + 4 * bow * t * (1 - t), z0 + t * (z1 - z0) - drop(d0, d1, d2, t)]);
  }
  return points;
}
