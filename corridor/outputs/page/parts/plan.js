// The part of a plan: what its layers hold and their sums; nothing of it is known before, and what has no number is told so.
const NOT_GIVEN = "not given";

class PlanPart {
  constructor(page) {
    this.page = page; this.plan = page.data.plan; if (!this.plan) return;
    const order = ["outage", "start", "end", "hours", "cost", "circuits_out", "circuit_hours", "circuit_cost", "crew_hours", "crew_cost", "items"], money = ["cost", "crew_cost", "circuit_cost"];
    const pick = i => { const own = page.workItems()[i].spans; if (own.length) { page.map.fit(own, 1.6); page.chooseSpan(own[0], "map"); } };
    this.table("costs", {absent: ["amount", "cost"]}); this.table("plan", {absent: money});
    this.table("outages", {absent: [...money, "start", "end", "hours"]}, order); this.table("work_items", {pick}); this.table("remedies", {absent: money});
    this.sum();
  }

  // Columns as they come, or in an order, with as many digits as they need.
  table(name, more, order = null) {
    const table = this.plan[name], place = document.getElementById(name); place.closest("[data-part]").hidden = !table; if (!table) return;
    const digits = c => ["outage", "crew", "volume_m3"].includes(c) ? 0 : c.startsWith("margin") || c.endsWith("cost") ? 2 : 1;
    const shown = (order ? order.filter(c => c in table || more.absent.includes(c)) : Object.keys(table)).filter(c => !["easting", "northing"].includes(c));
    for (const c of [...shown, ...(order ? ["start", "end", "hours", "circuit_hours"] : [])]) table[c] ||= new Texts([], new Int8Array(rowsOf(table)).fill(-1));
    new SortedTable(place, table, shown.map(c => [c, digits(c)]), {}, {rows: () => range(rowsOf(table)), ...more}).draw();
  }

  // Total cost, dates and hours in a few lines.
  sum() {
    const o = this.plan.outages, all = name => o ? range(rowsOf(o)).map(i => o[name].at(i)) : [], place = document.getElementById("plan-sum");
    const total = (name, unit) => { const values = all(name); return values.length && values.every(isFinite) ? `${values.reduce((a, b) => a + b).toFixed(1)} ${unit}` : NOT_GIVEN; };
    const [from, to] = [all("start").sort(), all("end").sort()], dated = from.length && [...from, ...to].every(Boolean);
    const left = this.plan.left ? [["NOT CLEAR", `${rowsOf(this.plan.left)} violations are left`]] : [];
    for (const [what, says] of [...left, ["cost", this.saysCost()], ["outages", o ? String(rowsOf(o)) : NOT_GIVEN], ["first to last day", dated ? `${from[0].slice(0, 10)} to ${to.at(-1).slice(0, 10)}` : NOT_GIVEN], ["hours of all outages", total("hours", "h")], ["circuits out", total("circuit_hours", "circuit-hours")]])
      place.append(Object.assign(document.createElement("dt"), {textContent: what}), Object.assign(document.createElement("dd"), {textContent: says}));
  }

  // The total, where every part of it has a number; else what is known, and what is not.
  saysCost() {
    const c = this.plan.costs; if (!c) return NOT_GIVEN;
    const lacks = range(rowsOf(c)).filter(i => !isFinite(c.cost.at(i))), known = range(rowsOf(c)).reduce((sum, i) => lacks.includes(i) ? sum : sum + c.cost.at(i), 0);
    const says = `${known.toFixed(2)} (${c.currency.at(0)})`;
    return lacks.length ? `${says} without what is not given: ${lacks.map(i => c.part.at(i)).join(", ")}` : says;
  }
}
