// A plot of the library: its sources are filled, its ranges set and its events heard by name.
class Plot {
  constructor(figure, element, views) { Object.assign(this, {figure, element, views, sources: {}}); }

  find(name) { return this.sources[name] ||= this.figure.document.get_model_by_name(`${this.figure.name}:${name}`); }

  // Rows as `line`, `bar`, `mark` and `text` of looks.js give them.
  fill(name, rows) { const source = this.find(name); source.data = columns(source.columns(), rows); }

  label(axis, words) { this.find(`${axis} axis`).axis_label = words; }
  get width() { return this.figure.inner_width; }
  get height() { return this.figure.inner_height; }

  // Bounds of the plot; its reset tool comes back to them.
  show(x0, y0, x1, y1) {
    this.figure.x_range.setv({start: x0, end: x1, reset_start: x0, reset_end: x1});
    this.figure.y_range.setv({start: y0, end: y1, reset_start: y0, reset_end: y1});
  }

  // Length of a pixel along both axes.
  get pixel() { const {x_range: x, y_range: y} = this.figure; return [(x.end - x.start) / this.width, (y.end - y.start) / this.height]; }

  // Elements of the plot that hear a finger, down through its shadow roots.
  layers() { const all = e => [e, ...[...e.children, ...(e.shadowRoot ? e.shadowRoot.children : [])].flatMap(all)]; return all(this.element).filter(e => e instanceof HTMLElement); }

  on(event, call) { this.figure.on_event(event, call); }
  // Called when pan and zoom have come to rest, and when the plot has another size.
  onSettled(call) { let wait; const later = () => { clearTimeout(wait); wait = setTimeout(call, 90); }; for (const range of [this.figure.x_range, this.figure.y_range]) range.change.connect(later); }
  onSize(call) { let wait; for (const name of ["inner_width", "inner_height"]) this.figure.properties[name].change.connect(() => { clearTimeout(wait); wait = setTimeout(call, 30); }); }
}

// The wheel and a finger turn the page; a plot takes them once it is entered by a click, and gives them back to Escape or a click elsewhere.
function enterable(plot) {
  const tools = plot.figure.toolbar.tools, wheel = tools.find(t => t.type === "WheelZoomTool"), pan = tools.find(t => t.type === "PanTool"), box = plot.element;
  const touch = matchMedia("(pointer: coarse)").matches;
  const set = on => { box.classList.toggle("entered", on); wheel.active = on; if (touch) { pan.active = on; free(!on); } };
  const free = on => { for (const layer of plot.layers()) layer.style.setProperty("touch-action", on ? "pan-y" : "none", "important"); };
  set(false);
  document.addEventListener("pointerdown", e => { const inside = e.composedPath().includes(box); if (!inside && box.classList.contains("entered")) set(false); });
  plot.on("tap", () => { if (!box.classList.contains("entered")) set(true); });
  box.addEventListener("keydown", e => { if (e.key === "Escape") set(false); });
}

// On paper a picture of each plot stands in its place, as wide as the paper; a live plot keeps the width of the window.
function printPictures(plots) {
  window.addEventListener("beforeprint", () => {
    for (const plot of Object.values(plots)) {
      const view = plot.views.get && plot.views.get(plot.figure); if (!view || !view.export) continue;
      const picture = plot.element.parentElement.querySelector("img.paper") || plot.element.parentElement.insertBefore(Object.assign(document.createElement("img"), {className: "paper"}), plot.element);
      picture.src = view.export("auto", true).canvas.toDataURL(); picture.alt = plot.element.getAttribute("aria-label"); plot.element.classList.add("live");
    }
  });
}

// Leave the browser a moment, so many milliseconds at most, to draw and to hear; a page that is not seen draws nothing, and does not wait for it.
const breath = (most = 100) => new Promise(done => { if (!document.hidden) requestAnimationFrame(() => setTimeout(done)); setTimeout(done, document.hidden ? 0 : most); });

// Embed plots whose places the page has, and wait until each has a size.
async function makePlots(items, names) {
  const plots = {};
  for (const name of names) {
    const element = document.getElementById(name); if (element.closest("[hidden]")) continue;
    const views = await Bokeh.embed.embed_item(items[name], name), figure = Bokeh.documents.at(-1).roots()[0];
    plots[name] = new Plot(figure, element, views);
  }
  const sized = plot => { try { return plot.width > 10; } catch { return false; } };    // unset until it is laid out
  for (let i = 0; i < 400 && !Object.values(plots).every(sized); i++) await new Promise(done => setTimeout(done, 15));
  for (const plot of Object.values(plots)) enterable(plot);
  return plots;
}
