// Rows → Vega charts in the colours and type of the page's own CSS.
(function () {
  "use strict";
  const { page, words } = window.evenbeam;
  const drawn = new Map();          // section id → [{view, key}], one a panel

  // Colours go into the drawing as names of page.css: light, dark and print need no second drawing.
  const ink = "var(--ink)", soft = "var(--soft)", line = "var(--line)", mark = "var(--mark)", haze = "var(--haze)";
  const sheet = "var(--sheet)", second = "var(--second)";

  const isShown = (row) => row.state === "." || row.state === "u";

  function themeOf(element) {
    const font = getComputedStyle(element).fontFamily;
    return {
      background: "transparent",
      font,
      view: { stroke: null },
      padding: { left: 2, right: 8, top: 6, bottom: 4 },
      axis: {
        labelColor: soft, titleColor: soft, labelFontSize: 12, titleFontSize: 12, titleFontWeight: "normal",
        gridColor: line, domainColor: line, tickColor: line, labelPadding: 6, labelFont: font, titleFont: font,
      },
      axisX: { grid: true, domain: false, ticks: false },
      axisY: { grid: true, domain: false, ticks: false },
      axisBand: { grid: false, labelColor: ink },
      axisPoint: { grid: false, labelColor: ink },
      range: { category: [mark, second] },
      style: {
        "track": { color: line, strokeWidth: 1 },
        "beam": { color: haze, strokeWidth: 12, strokeCap: "round" },
        "beam-thin": { color: haze, strokeWidth: 6, strokeCap: "round" },
        "beam-sex": { strokeWidth: 3, strokeCap: "round", opacity: 0.5 },
        "bead": { color: mark, stroke: sheet, strokeWidth: 1.5, filled: true, opacity: 1, size: 130 },
        "bead-small": { color: mark, stroke: sheet, strokeWidth: 1, filled: true, opacity: 1, size: 56 },
        "bead-sex": { filled: true, opacity: 1, size: 60 },
        "bead-over": { color: sheet, stroke: ink, strokeWidth: 1.5, filled: true, opacity: 1, size: 52 },
        "diamond": { color: sheet, stroke: ink, strokeWidth: 1.5, filled: true, opacity: 1, size: 90 },
        "diamond-small": { color: sheet, stroke: ink, strokeWidth: 1.25, filled: true, opacity: 1, size: 44 },
        "ring": { color: "transparent", stroke: ink, strokeWidth: 1.5, filled: true, opacity: 1, size: 150 },
        "thread": { color: mark, strokeWidth: 1.25, opacity: 0.7 },
        "withheld": { color: soft, strokeWidth: 1, strokeDash: [2, 4] },
        "reference": { color: ink, strokeWidth: 1.25 },
        "reference-band": { color: line, opacity: 0.55 },
        "strip-outer": { color: mark, strokeWidth: 1.5 },
        "strip-wide": { color: haze, strokeWidth: 12, strokeCap: "butt" },
        "strip-middle": { color: mark, strokeWidth: 12, strokeCap: "butt" },
        "curve": { color: mark, strokeWidth: 1, opacity: 0.75, strokeCap: "round" },
        "curve-quarter": { color: mark, strokeWidth: 1.5, strokeCap: "round" },
        "curve-middle": { color: ink, strokeWidth: 2.25, strokeCap: "round" },
        "curve-band": { color: haze, opacity: 0.75 },
        "hover": { color: ink, strokeWidth: 9, opacity: 0 },
        "limit": { color: soft, strokeWidth: 1.25, strokeDash: [5, 4] },
        "limit-outer": { color: soft, strokeWidth: 1.25, strokeDash: [1.5, 3] },
        "target": { color: ink },
        "bar": { color: mark, cornerRadiusEnd: 2 },
        "name": { color: ink, fontSize: 13, font },
        "written": { color: ink, fontSize: 13, fontWeight: 600, font },
        "end": { color: soft, fontSize: 11, font },
        "note": { color: soft, fontSize: 12, fontStyle: "italic", font },
      },
    };
  }

  // The ends of each panel's scale. From zero: one scale for all. Otherwise around the panel's own figures, but with
  // one span for all panels, so that the same height is the same difference in each.
  function endsOf(figure, panels) {
    const spans = panels.map(({ rows }) => {
      const shown = rows.filter(isShown);
      const values = figure.extent.flatMap((name) => shown.map((row) => row[name])).filter((value) => value !== null);
      return values.length ? [Math.min(...values), Math.max(...values)] : null;
    });
    const known = spans.filter(Boolean);
    if (figure.oneScale && known.length) {
      const bottom = Math.min(...known.map(([low]) => low)), top = Math.max(...known.map(([, high]) => high));
      return panels.map(() => ({ bottom, top: top > bottom ? top : bottom + 1 }));
    }
    if (figure.fromZero) {
      const top = Math.max(0, ...known.map(([, high]) => high)) || 100;
      return panels.map(() => ({ bottom: 0, top }));
    }
    const most = figure.columns.some(({ sign }) => sign) ? 100 : Infinity;      // no share is over 100 %
    const span = Math.min(most, Math.max(0, ...known.map(([low, high]) => high - low)) * 1.15 || 1);
    return spans.map((found) => {
      if (!found) return { bottom: 0, top: span };
      const middle = (found[0] + found[1]) / 2 - span / 2;
      const bottom = Math.min(found[0] >= 0 ? Math.max(0, middle) : middle, most - span);
      return { bottom, top: bottom + span };
    });
  }

  // what the spec has as parameters: the ends of the scale, and the largest group where size is an axis
  function paramsOf(figure, panels) {
    const sizes = panels.flatMap(({ rows }) => rows.filter(isShown)).map((row) => row.people);
    const widest = Math.max(1, ...sizes.filter((size) => size != null));
    const wanted = figure.spec.params.map(({ name }) => name);
    return endsOf(figure, panels).map((ends) =>
      Object.fromEntries(Object.entries({ ...ends, widest }).filter(([name]) => wanted.includes(name))));
  }

  function panelsOf(figure, rows) {
    if (!figure.panels) return [{ key: "", title: "", rows }];
    const groups = new Map();
    rows.forEach((row) => {
      const key = row[figure.panels + "_key"];
      if (!groups.has(key)) groups.set(key, { key, title: row[figure.panels], rows: [] });
      groups.get(key).rows.push(row);
    });
    return [...groups.values()];
  }

  function specFor(figure, rows, range) {
    const spec = structuredClone(figure.spec);
    spec.datasets = { rows };
    if (spec.height.step) {          // a height in rows; Vega-Lite warns when a step meets a width that fits its box
      const name = figure.along.find((dimension) => dimension !== figure.panels) + "_key";
      spec.height = spec.height.step * new Set(rows.map((row) => row[name])).size;
    }
    spec.params.forEach((param) => { if (param.name in range) param.value = range[param.name]; });
    return spec;
  }

  const plain = ({ heads, cells, link, inTable, ...row }) => row;    // what a chart needs of a row

  async function embed(section, figure, rows) {
    const box = section.querySelector("[data-chart]");
    (drawn.get(figure.id) || []).forEach(({ view }) => view && view.finalize());
    const panels = panelsOf(figure, rows);
    const ranges = paramsOf(figure, panels);
    if (!rows.some(isShown)) {        // axes without a figure would only look like one
      const nothing = document.createElement("p");
      nothing.className = "no-chart";
      nothing.textContent = words["chart.none"];
      box.replaceChildren(nothing);
      drawn.set(figure.id, []);
      box.dataset.drawn = "yes";
      return;
    }
    const places = panels.map((panel) => {
      const place = document.createElement("div");
      place.className = "plot";
      if (!panel.title) return { place, holder: place };
      const holder = document.createElement("div");
      holder.className = "panel";
      const title = document.createElement("p");
      title.className = "panel-title";
      title.textContent = panel.title;
      holder.append(title, place);
      if (panel.key in figure.instead) {
        place.className = "no-chart";
        place.textContent = figure.instead[panel.key];
      }
      return { place, holder };
    });
    box.classList.toggle("panels", Boolean(figure.panels));
    box.classList.toggle("few", panels.length < 3);
    box.replaceChildren(...places.map(({ holder }) => holder));
    const options = {
      ast: true, actions: false, defaultStyle: false, renderer: "svg", config: themeOf(box),
      tooltip: { disableDefaultStyle: true },
      formatLocale: { decimal: page.locale.decimal, thousands: page.locale.thousands, minus: page.locale.minus,
        grouping: [3], currency: ["", ""] },
    };
    try {
      const results = await Promise.all(panels.map((panel, i) => panel.key in figure.instead ? { view: null } :
        window.vegaEmbed(places[i].place, specFor(figure, panel.rows.map(plain), ranges[i]), options)));
      // one picture with a name; what it shows stands in the table
      box.querySelectorAll("svg").forEach((svg) => svg.setAttribute("aria-hidden", "true"));
      drawn.set(figure.id, results.map((result, i) => ({ view: result.view, key: panels[i].key })));
    } catch (error) {
      const failed = document.createElement("p");
      failed.textContent = words["chart.failed"];
      box.replaceChildren(failed);
      throw error;
    }
    box.dataset.drawn = "yes";
  }

  async function update(section, figure, rows) {
    const views = drawn.get(figure.id);
    const panels = panelsOf(figure, rows);
    const isSame = rows.some(isShown) && views && views.length === panels.length && views.every(({ key }, i) => key === panels[i].key);
    if (!isSame) return embed(section, figure, rows);
    const ranges = paramsOf(figure, panels);
    await Promise.all(views.filter(({ view }) => view).map(({ view, key }) => {
      const i = panels.findIndex((panel) => panel.key === key);
      Object.entries(ranges[i]).forEach(([name, value]) => view.signal(name, value));
      return view.data("rows", panels[i].rows.map(plain)).runAsync();
    }));
  }

  window.evenbeam.chart = { embed, update, isDrawn: (figure) => drawn.has(figure.id) };
})();
