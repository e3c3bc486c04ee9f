// Tables below the first view that follow the choice.
const BELOW = ["compared", "uncertainty", "not_assessed", "options", "limits", "sections", "surveyed", "loads"];

// What is chosen, and everything that follows from it.
class Page {
  constructor(data, plots) {
    Object.assign(this, {data, plots, option: data.names.option[0], case: null, span: 0, violation: null, extent: "span", count: rowsOf(data.spans)});
    COLOUR = {...data.colours, near: "#d9981a", shortText: "#a83e00"};
    this.number = new Map(range(this.count).map(i => [`${data.spans.line.at(i)}\u0000${data.spans.span.at(i)}`, i]));
    this.assess(); const worst = this.worstViolation(); if (worst !== null) { this.violation = worst; this.span = this.spanOf(data.tables.violations, worst); }
    this.map = new CorridorMap(plots.map, this); this.profile = new Profile(plots.profile, this); this.cut = new CutView(plots.cut, this);
    this.makeControls(); this.makeTables(); this.fromHash(); this.assess();
    this.map.fit(range(this.count)); this.refresh();
  }

  // What lies below the first view is drawn after it, in steps between which the page hears.
  async drawBelow(plots) {
    Object.assign(this.plots, plots); this.sag = new SagPlot(plots.sag, this); this.ladder = new LadderPlot(plots.ladder, this);
    if (plots.calendar) this.calendar = new Calendar(plots.calendar, this);
    this.below = true; this.sag.draw();
    for (const name of ["structures", "inputs"]) { await breath(); this.tables[name].draw(); }
    for (const name of BELOW) { await breath(); this.tables[name].draw(); this.tables[name].mark(); }
    new PlanPart(this); await this.map.made;
    document.body.dataset.ready = "yes";
  }

  spanOf(table, row) { return this.number.get(`${table.line.at(row)}\u0000${table.span.at(row)}`) ?? -1; }
  of(first, i) { return range(first.raw[i + 1] - first.raw[i]).map(k => first.raw[i] + k); }
  wireRows(i) { const w = this.data.wires; return this.of(w.first, i).filter(r => w.option.at(r) === this.option); }

  // Rows of what was compared in a span, for the chosen option and one case (null: every case).
  clearanceRows(i, name = this.case) {
    const c = this.data.clearances;
    return this.of(c.first, i).filter(r => c.option.at(r) === this.option && (name === null || c.case.at(r) === name));
  }

  fits(table, row) {
    const [o, c] = [table.option.at(row), table.case.at(row)];
    return (o === null || o === this.option) && (this.case === null || c === null || c === this.case);
  }

  violationRows() { const v = this.data.tables.violations; return this.violations ||= range(rowsOf(v)).filter(r => this.fits(v, r)); }
  gapRows() { const g = this.data.tables.not_assessed; return range(rowsOf(g)).filter(r => this.fits(g, r)); }
  // The worst of all, or of one span.
  worstViolation(span = null) { const v = this.data.tables.violations; return this.violationRows().filter(r => span === null || this.spanOf(v, r) === span).reduce((best, r) => best === null || v.margin_m.at(r) < v.margin_m.at(best) ? r : best, null); }

  // Places that are in violation, worst first: of each thing below each span the worst row.
  places() {
    const v = this.data.tables.violations, seen = new Set();
    return [...this.violationRows()].sort((a, b) => v.margin_m.at(a) - v.margin_m.at(b)).filter(k => { const key = [this.spanOf(v, k), v.against.at(k), v.obstacle.at(k)].join("\u0000"); return !seen.has(key) && seen.add(key); });
  }

  // The next place, or the one before; where a row of the same thing is chosen, from there.
  step(by) {
    const list = this.places(), at = this.placeOf(list); if (!list.length) return;
    this.chooseViolation(list[at < 0 ? (by > 0 ? 0 : list.length - 1) : (at + by + list.length) % list.length], "step");
  }

  placeOf(list) {
    const v = this.data.tables.violations, key = k => [this.spanOf(v, k), v.against.at(k), v.obstacle.at(k)].join("\u0000");
    return this.violation === null ? -1 : list.findIndex(k => key(k) === key(this.violation));
  }

  // The span that a text means: its name, its number or that of a structure, part of a name, or a thing, where that is nearest to its limit.
  find(words) {
    const p = this.data.spans, c = this.data.clearances, asked = words.trim().toLowerCase(), all = range(this.count); if (!asked) return undefined;
    const digits = name => String(name).match(/\d+/g)?.map(Number) || [], low = v => String(v ?? "").toLowerCase();
    const exact = all.find(k => low(this.title(k)) === asked || low(p.span.at(k)) === asked); if (exact !== undefined) return exact;
    if (/^\d+$/.test(asked)) { const k = all.find(k => digits(p.from_structure.at(k)).includes(+asked)) ?? all.find(k => digits(p.span.at(k)).includes(+asked)); if (k !== undefined) return k; }
    const part = all.find(k => low(this.title(k)).includes(asked)); if (part !== undefined) return part;
    let best = [Infinity, undefined];
    for (const k of all) for (const r of this.clearanceRows(k)) if ((low(c.obstacle.at(r)).includes(asked) || low(c.against.at(r)) === asked) && c.margin_m.at(r) < best[0]) best = [c.margin_m.at(r), k];
    return best[1];
  }

  // What each span comes to: a violation first, then what was not assessed; a margin that is not known is never clear.
  assess() {
    this.violations = null; const c = this.data.clearances, g = this.data.tables.not_assessed;
    const gaps = this.gapRows(), everywhere = gaps.some(r => g.span.at(r) === null && g.line.at(r) === null), bare = new Set(gaps.map(r => this.spanOf(g, r)));
    this.margin = new Float64Array(this.count).fill(NaN); this.worstCase = Array(this.count).fill(null);
    this.standing = range(this.count).map(i => {
      let unknown = bare.has(i) || everywhere;
      for (const r of this.clearanceRows(i)) {
        const m = c.margin_m.at(r); if (isNaN(m)) unknown = true;
        if (!(m >= this.margin[i])) { this.margin[i] = m; this.worstCase[i] = c.case.at(r); }
      }
      const m = this.margin[i]; return m < 0 ? "short" : unknown ? "unknown" : isNaN(m) ? "neutral" : m < .5 ? "near" : "clear";
    });
  }

  // The case drawn bold: the chosen one, that of the chosen violation, else that of the least margin.
  shownCase(i) {
    if (this.case !== null) return this.case;
    const v = this.data.tables.violations;
    if (this.violation !== null && this.spanOf(v, this.violation) === i) return v.case.at(this.violation);
    return this.worstCase[i] ?? this.data.names.case[0] ?? null;
  }

  chooseViolation(row, from) {
    const v = this.data.tables.violations, span = this.spanOf(v, row); this.violation = row; this.span = span;
    if (from !== "map" && span >= 0) { this.map.fit([span], 1.8); this.map.centre(v.easting.at(row), v.northing.at(row)); }
    this.refresh(false);
    if (from === "table") document.getElementById("profile-part").scrollIntoView({block: "nearest"});
    if (from === "step") this.bringDesk();
  }

  // Bring map, profile and cross-section into view where they are not; on a narrow screen the profile.
  bringDesk() {
    const at = id => document.getElementById(id), wide = matchMedia("(min-width: 1180px)").matches, [first, last] = wide ? ["desk", "cut-part"] : ["profile-part", "profile-part"];
    if (at(first).getBoundingClientRect().top < at("bar").offsetHeight - 4 || at(last).getBoundingClientRect().bottom > innerHeight) at(first).scrollIntoView({block: "start"});
  }

  chooseSpan(i, from) {
    this.span = i; if (this.violation === null || this.spanOf(this.data.tables.violations, this.violation) !== i) this.violation = this.worstViolation(i);
    if (from !== "map") this.show(i); this.refresh(false);
  }

  chooseSection(line, section) {
    const p = this.data.spans, own = range(this.count).filter(k => p.line.at(k) === line && p.section.at(k) === section); if (!own.length) return;
    this.extent = document.getElementById("extent").value = "section"; this.map.fit(own, 1.2); this.chooseSpan(own[0], "map");
  }

  chooseStructure(line, name) {
    const p = this.data.spans, k = range(this.count).find(i => p.line.at(i) === line && [p.from_structure.at(i), p.to_structure.at(i)].includes(name));
    if (k !== undefined) { this.map.fit([k], 1.8); this.chooseSpan(k); }
  }

  // Bring a span into view, without a change of scale where it can be helped.
  show(i) {
    const [[a, b], [c, d]] = this.map.ends(i), e = (a + c) / 2, n = (b + d) / 2, v = this.map.view, room = 60 / v.scale;
    if (Math.abs(e - v.e) > this.map.plot.width / v.scale / 2 - room || Math.abs(n - v.n) > this.map.plot.height / v.scale / 2 - room) this.map.centre(e, n);
  }

  // A violation in one line of words.
  says(k) {
    const v = this.data.tables.violations;
    return `${v.obstacle.at(k) || v.against.at(k)}, ${v.case.at(k)}: ${v.actual_m.at(k).toFixed(2)} m of ${v.required_m.at(k).toFixed(2)} m, margin ${v.margin_m.at(k).toFixed(2)} m`;
  }

  // Row of the limits of a span in an option.
  limitRow(i, option) {
    const t = this.data.tables.limits;
    this.limitRows ||= new Map(range(rowsOf(t)).map(k => [`${this.spanOf(t, k)} ${t.option.at(k)}`, k]));
    return this.limitRows.get(`${i} ${option}`);
  }

  // Items of a plan that lies beside the findings, as objects.
  workItems() {
    const p = this.data.plan; if (!p || !p.work_items) return [];
    const w = p.work_items, get = (name, i) => name in w ? w[name].at(i) : null;
    return this.work ||= range(rowsOf(w)).map(i => ({item: get("item", i), kind: get("kind", i), outage: get("outage", i) || 0, start: get("start_h", i) ?? NaN, end: get("end_h", i) ?? NaN, hours: get("hours", i), day: get("start", i), out: get("circuits_out", i),
      at: isFinite(w.easting.at(i)) ? [w.easting.at(i), w.northing.at(i)] : null, spans: range(p.span_first.raw[i + 1] - p.span_first.raw[i]).map(k => p.span.raw[p.span_first.raw[i] + k])}));
  }

  // Another option shows its own worst place; where nothing of it is in violation, the span with the least to spare.
  changeKeys(option, name) {
    const other = option !== this.option; this.option = option; this.case = name; this.assess();
    if (other) {
      const worst = this.worstViolation(), v = this.data.tables.violations; this.violation = worst;
      const least = range(this.count).reduce((best, i) => isNaN(this.margin[i]) || (best !== null && this.margin[best] <= this.margin[i]) ? best : i, null);
      this.span = worst !== null && this.spanOf(v, worst) >= 0 ? this.spanOf(v, worst) : least ?? this.span;
      this.map.fit([this.span], 1.8);
    }
    document.getElementById("option").value = option; document.getElementById("case").value = name ?? "";
    if (this.violation !== null && !this.fits(this.data.tables.violations, this.violation)) this.violation = null;
    this.refresh();
  }

  makeControls() {
    const at = id => document.getElementById(id), {option, case: cases} = this.data.names, p = this.data.spans;
    at("option").append(...option.map(o => new Option(o, o))); at("case").append(new Option("every case", ""), ...cases.map(c => new Option(c, c)));
    const keys = () => this.changeKeys(at("option").value, at("case").value || null);
    at("option").onchange = keys; at("case").onchange = keys;
    at("extent").onchange = () => { this.extent = at("extent").value; this.refresh(false); };
    at("span").onchange = () => { const asked = at("span").value, i = this.find(asked); if (i !== undefined) this.chooseSpan(i); else { at("span").value = this.title(this.span); at("where").textContent = `No span and no thing is called ${asked}.`; } };
    at("span").onfocus = () => { if (!at("spans").options.length) at("spans").append(...range(Math.min(this.count, 3000)).map(i => new Option(this.title(i)))); at("span").select(); };
    at("worse").onclick = () => this.step(-1); at("better").onclick = () => this.step(1);
    document.addEventListener("keydown", e => { const by = {n: 1, p: -1}[e.key]; if (by && !e.ctrlKey && !e.metaKey && !e.altKey && !/^(INPUT|SELECT|TEXTAREA)$/.test(document.activeElement?.tagName)) { e.preventDefault(); this.step(by); } });
    at("fold").onclick = () => { const open = at("bar").classList.toggle("open"); at("fold").setAttribute("aria-expanded", open); at("fold").textContent = open ? "less" : "more"; };
    new ResizeObserver(() => document.documentElement.style.setProperty("--bar", `${at("bar").offsetHeight}px`)).observe(at("bar"));
    for (const place of document.querySelectorAll("table")) place.closest("section")?.append(Object.assign(saverOf(place, place.closest("section").id || "options"), {}));
    this.fitHeights(); addEventListener("resize", () => this.fitHeights());
    const step = by => this.chooseSpan(Math.min(this.count - 1, Math.max(0, this.span + by)));
    at("before").onclick = () => step(-1); at("after").onclick = () => step(1);
    for (const id of ["map", "profile"]) at(id).addEventListener("keydown", e => { const by = {ArrowLeft: -1, ArrowRight: 1}[e.key]; if (by) { e.preventDefault(); step(by); } });
    at("in").onclick = () => this.map.zoom(1.5); at("out").onclick = () => this.map.zoom(1 / 1.5);
    at("all").onclick = () => this.map.fit(range(this.count)); at("one").onclick = () => this.map.fit([this.span], 1.6);
    at("grid").textContent = this.data.run.frame.split(":")[0] + ", grid north";
    at("map-key").innerHTML = keyOf(CLASSES.map(([name, words, width, dash]) => [COLOUR[name], width, dash, words])) + this.map.key() + "Barred ring (from afar: upright bar): a violation. Filled square: strain structure; ring: suspension. Yellow: the chosen span. Nearer: where wires are blown, outlined wide where that leaves the right-of-way. Ground is shaded where it is known, light from the north-west." + (this.workItems().length ? " Wide translucent lines and triangles: work of the plan, by number of its outage." : "");
    for (const button of document.querySelectorAll("[data-to]")) { const to = at(button.dataset.to); button.hidden = Boolean(to.closest("[hidden]")); button.onclick = () => to.scrollIntoView({behavior: "smooth"}); }
    this.makeCards();
  }

  // On a wide screen map, profile, cross-section and every violation stand together, as high as the window lets them.
  fitHeights() {
    const wide = matchMedia("(min-width: 1180px)").matches, narrow = matchMedia("(max-width: 640px)").matches, each = Math.max(250, Math.min(430, (innerHeight - document.getElementById("bar").offsetHeight - 290) / 2));
    for (const [name, desk, phone, else_] of [["map", each, 320, 430], ["profile", each, 340, 440], ["cut", each, 340, 380]]) {
      const height = Math.round(wide ? desk : narrow ? phone : else_); if (this.plots[name].figure.height !== height) this.plots[name].figure.height = height;
      document.getElementById(name).style.minHeight = `${height}px`;
    }
  }

  // One card an option: every violation, what is not assessed, what the line carries.
  makeCards() {
    const t = this.data.tables.options, l = this.data.tables.ladder, place = document.getElementById("cards");
    const least = name => range(rowsOf(l)).filter(i => l.option.at(i) === name && l.spans_fixed.at(i) === 0).map(i => l.limit_current_a.at(i)).reduce((a, b) => isNaN(a) || isNaN(b) ? NaN : Math.min(a, b), Infinity);
    for (const i of range(rowsOf(t))) {
      const name = t.option.at(i), short = t.violations.at(i), gaps = t.not_assessed.at(i), now = least(name), all = t.continuous_current_a.at(i), asked = t.required_current_a.at(i);
      const card = Object.assign(document.createElement("button"), {className: "card"}), add = (tag, words, cls = "") => card.append(Object.assign(document.createElement(tag), {textContent: words, className: cls}));
      card.dataset.option = name; add("strong", name); add("span", t.conductor.at(i), "soft");
      add("span", short ? `${short} violation${short > 1 ? "s" : ""}, worst ${t.worst_margin_m.at(i).toFixed(2)} m in ${t.worst_span.at(i)}` : "no violation in what was assessed", short ? "bad" : "good");
      add("span", gaps ? `${gaps} not assessed: not a pass` : "everything assessed", gaps ? "gap" : "good");
      if (isFinite(all)) add("span", `Current as it is: ${isFinite(now) ? `${now.toFixed(0)} A` : "not known"}; with all violations remedied: ${all.toFixed(0)} A` + (isFinite(asked) ? `; required: ${asked.toFixed(0)} A` : ""), "soft");
      if (this.sure) add("span", this.saysSure(i), "soft");
      card.onclick = () => this.changeKeys(name, this.case); place.append(card);
    }
    document.getElementById("verdict").hidden = true;     // the cards say the same
  }

  // Whether the study tells how sure its inputs are.
  get sure() { return rowsOf(this.data.tables.uncertainty) > 0; }

  // How sure an option is, in words; what is not assessed leaves open whether it clears.
  saysSure(i) {
    const t = this.data.tables.options, clear = t.probability_clear.at(i), gaps = t.not_assessed.at(i);
    return `${t.expected_violations.at(i).toFixed(1)} violations expected; ` + (isNaN(clear) ? "whether everything clears is not known" + (gaps ? `: ${gaps} not assessed` : "") : `everything clears with a probability of ${(100 * clear).toFixed(1)} %`);
  }

  title(i) { const p = this.data.spans; return this.oneLine ? p.span.at(i) : `${p.line.at(i)}: ${p.span.at(i)}`; }
  get oneLine() { return this.data.spans.line.texts.length === 1; }

  makeTables() {
    const t = this.data.tables, h = this.data.headings, at = id => document.getElementById(id), c = this.data.clearances;
    const key = this.oneLine ? [["span"]] : [["line"], ["span"]], all = table => () => range(rowsOf(table));
    const pickSpan = table => i => { const s = this.spanOf(table, i); if (s >= 0) { this.map.fit([s], 1.8); this.chooseSpan(s); } };
    const chances = this.sure ? [["margin_sd_m"], ["probability_short", 3]] : [], u = t.uncertainty;
    document.getElementById("sure-note").textContent = "Share of each input in the variance of margins within three standard deviations of zero, of the chosen option. Probabilities order the work: a violation is told by its margin alone, no probability makes it a pass, and what was not assessed is not known.";
    const isSpan = table => i => this.spanOf(table, i) === this.span;
    this.tables = {
      compared: new SortedTable(at("compared"), c, [["against"], ["obstacle"], ["case"], ["wire"], ["measure"], ["position"], ["rule"], ["required_m"], ["margin_m"], ...chances.filter(c => c[0] in this.data.clearances), ["distance_from_start_m", 1], ["wire_elevation_m"], ["other_elevation_m"], ["rule_confidence"]], h.violations,
        {rows: () => this.clearanceRows(this.span), sort: ["margin_m", 1], short: "margin_m", empty: "Nothing was compared here."}),
      violations: new SortedTable(at("violations"), t.violations, [["margin_m"], ...key, ["against"], ["obstacle"], ["case"], ["wire"], ["required_m"], ["actual_m"], ["severity"], ["rule"], ["margin_low_m"], ...chances, ...(this.sure ? [["largest_share"]] : []), ["station_m", 1], ["offset_m", 1], ["conductor_temperature_c", 0], ["inherited", "yes"], ["rule_edition"], ["rule_confidence"]], h.violations,
        {rows: () => [...this.violationRows()].sort((a, b) => t.violations.margin_m.at(a) - t.violations.margin_m.at(b)), pick: i => this.chooseViolation(i, "table"), sort: this.sure ? ["probability_short", -1] : ["margin_m", 1], short: "margin_m", chosen: i => i === this.violation, empty: "No violation in what was assessed."}),
      uncertainty: new SortedTable(at("uncertainty"), u, [["input"], ["share", "bar"], ["sd", "any"], ["unit"], ["common"], ["source"]], h.uncertainty, {rows: () => range(rowsOf(u)).filter(i => u.option.at(i) === this.option), sort: ["share", -1]}),
      not_assessed: new SortedTable(at("not_assessed"), t.not_assessed, [...key, ["case"], ["wire"], ["against"], ["obstacle"], ["reason"]], h.not_assessed, {rows: () => this.gapRows(), pick: pickSpan(t.not_assessed), chosen: isSpan(t.not_assessed), empty: "Everything was assessed."}),
      options: new SortedTable(at("options"), t.options, [["option"], ["conductor"], ["violations", 0], ["not_assessed", 0], ["worst_margin_m"], ["worst_span"], ["worst_against"], ["worst_case"], ["maximum_temperature_c", 0], ["continuous_current_a", 0], ["temperature_at_required_current_c", 0], ["loss_at_required_current_w_per_m", 0], ["reactance_ohm_per_km", 3], ["voltage_drop_v_per_km", 0], ["greatest_sag_m"], ["greatest_percent_rts", 1]], h.options,
        {rows: all(t.options), pick: i => { at("option").value = t.options.option.at(i); this.changeKeys(t.options.option.at(i), this.case); }, short: "worst_margin_m", chosen: i => t.options.option.at(i) === this.option}),
      limits: new SortedTable(at("limits"), t.limits, [...key, ["limit_temperature_c", 1], ["limit_current_a", 0], ["governs"], ["governing_against"], ["governing_obstacle"], ["governing_case"], ["governing_wire"], ["station_m", 1]], h.limits,
        {rows: () => range(rowsOf(t.limits)).filter(i => t.limits.option.at(i) === this.option), pick: pickSpan(t.limits), sort: ["limit_temperature_c", 1], chosen: isSpan(t.limits)}),
      sections: new SortedTable(at("sections"), t.sections, [...(this.oneLine ? [] : [["line"]]), ["section"], ["wire_kind"], ["case"], ["ruling_span_m", 1], ["temperature_c", 0], ["horizontal_tension_n", 0], ["maximum_tension_n", 0], ["percent_rts", 1], ["catenary_constant_m", 0], ["knee_temperature_c", 0], ["condition"], ["governing_limit"]], h.sections,
        {rows: () => range(rowsOf(t.sections)).filter(i => this.fits(t.sections, i)), pick: i => this.chooseSection(t.sections.line.at(i), t.sections.section.at(i))}),
      surveyed: new SortedTable(at("surveyed_wires"), t.surveyed_wires, [["survey"], ...key, ["wire"], ["used", "yes"], ["sag_m"], ["sag_difference_m"], ["horizontal_tension_n", 0], ["catenary_constant_m", 0], ["catenary_constant_sd_m", 1], ["swing_deg", 1], ["temperature_c", 0], ["points", 0], ["rms_m", 3], ["reason"], ["note"]], h.surveyed_wires,
        {rows: all(t.surveyed_wires), sort: ["sag_difference_m", -1], pick: pickSpan(t.surveyed_wires), chosen: isSpan(t.surveyed_wires)}),
      loads: new SortedTable(at("loads"), t.structure_loads, [...(this.oneLine ? [] : [["line"]]), ["structure"], ["role"], ["wire"], ["case"], ["vertical_n", 0], ["transverse_n", 0], ["longitudinal_n", 0], ["wind_span_m", 0], ["weight_span_m", 0], ["ratio_to_existing"], ["uplift", "yes"], ["of_capacity"], ["over_capacity", "yes"]], h.structure_loads,
        {rows: () => range(rowsOf(t.structure_loads)).filter(i => t.structure_loads.option.at(i) === this.option), sort: ["ratio_to_existing", -1], pick: i => this.chooseStructure(t.structure_loads.line.at(i), t.structure_loads.structure.at(i)), over: ["ratio_to_existing", 1.005]}),
      structures: new SortedTable(at("structures"), t.structures, [...(this.oneLine ? [] : [["line"]]), ["structure"], ["role"], ["framing"], ["station_m", 1], ["base_elevation_m"], ["line_angle_deg", 1], ["easting_m"], ["northing_m"], ["longitude_deg", 6], ["latitude_deg", 6]], h.structures,
        {rows: all(t.structures), pick: i => this.chooseStructure(t.structures.line.at(i), t.structures.structure.at(i))}),
      inputs: new SortedTable(at("inputs"), t.inputs, [["part"], ["path"], ["source_layer"], ["crs"], ["vertical_crs"], ["unit"], ["digest"]], h.inputs, {rows: all(t.inputs)})};
    for (const [name, value] of Object.entries(this.data.run)) {
      if (name === "warnings" || name === "cautions") continue;
      const list = at("run").querySelector("dl") || at("run").appendChild(document.createElement("dl"));
      list.append(Object.assign(document.createElement("dt"), {textContent: name.replaceAll("_", " ")}), Object.assign(document.createElement("dd"), {textContent: value}));
    }
  }


  // The choice stands in the address, so that it can be passed on.
  fromHash() {
    const asked = new URLSearchParams(location.hash.slice(1)), at = id => document.getElementById(id);
    if (this.data.names.option.includes(asked.get("option"))) this.option = asked.get("option");
    if (this.data.names.case.includes(asked.get("case"))) this.case = asked.get("case");
    const i = range(this.count).find(k => this.title(k) === asked.get("span"));
    const v = this.data.tables.violations; this.violations = null; this.violation = this.worstViolation(i);
    if (i !== undefined) this.span = i; else if (this.violation !== null) this.span = this.spanOf(v, this.violation);
    at("option").value = this.option; at("case").value = this.case ?? "";
  }

  refresh(all = true) {
    const p = this.data.spans, i = this.span, m = this.margin[i], words = Object.fromEntries(CLASSES.map(c => [c[0], c[1]]));
    this.map.draw(); this.profile.draw(); this.cut.draw();
    for (const name of ["violations", ...(this.below ? BELOW : [])]) { if (all || name === "compared") this.tables[name].draw(); this.tables[name].mark(); }
    if (this.below) { this.sag.draw(); if (all) this.ladder.draw(); }
    for (const card of document.querySelectorAll(".card")) card.setAttribute("aria-pressed", card.dataset.option === this.option);
    const list = this.places(), place = this.placeOf(list), at = id => document.getElementById(id);
    at("count").textContent = list.length ? `${place < 0 ? "\u2013" : place + 1} of ${list.length}` : "none"; at("worse").disabled = at("better").disabled = !list.length;
    at("told").textContent = `Shown: option ${this.option}; ${this.case === null ? "every case" : `case ${this.case}`}; span ${this.title(i)}, ${p.length_m.at(i).toFixed(1)} m, section ${p.section.at(i)}` + (this.violation === null ? "" : `; ${this.says(this.violation)}`) + ".";
    at("profile-title").textContent = this.extent === "span" ? `Profile of ${this.title(i)}` : `Profile of section ${p.section.at(i)}`;
    document.getElementById("span").value = this.title(i);
    document.getElementById("where").textContent = `${p.length_m.at(i).toFixed(1)} m, section ${p.section.at(i)}: ${words[this.standing[i]]}` + (isNaN(m) ? "" : `, minimum margin ${m.toFixed(2)} m`);
    Object.assign(document.body.dataset, {option: this.option, case: this.case ?? "", span: this.title(i), violation: this.violation ?? "", standing: this.standing[i]});
    const hash = new URLSearchParams({option: this.option, ...(this.case ? {case: this.case} : {}), span: this.title(i)});
    history.replaceState(null, "", "#" + hash);
  }
}

reading.then(async data => {
  for (const part of document.querySelectorAll("[data-plan]")) part.hidden = !data.plan;
  for (const part of document.querySelectorAll("[data-sure]")) part.hidden = !rowsOf(data.tables.uncertainty);
  for (const part of document.querySelectorAll("[data-seen]")) part.hidden = !rowsOf(data.tables.surveyed_wires);
  const items = JSON.parse(document.getElementById("plots").textContent), plots = await makePlots(items, ["map", "profile", "cut"]);
  window.corridorPage = new Page(data, plots); printPictures(plots); document.body.dataset.ready = "first";
  await breath(1000); await corridorPage.drawBelow(await makePlots(items, ["sag", "ladder", "calendar"]));
});
