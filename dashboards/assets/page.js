// The reader's choices: controls, the page's address, and what follows from them.
(function () {
  "use strict";
  const { page, words, rowsOf, headlineOf, fillTable, chart } = window.evenbeam;
  const form = document.getElementById("controls");
  const defaults = Object.fromEntries(page.controls.map((control) => [control.name, control.default]));
  const figures = page.figures.map((figure) => ({ figure, section: document.getElementById(figure.id) }));
  let state = { ...defaults };
  let queue = Promise.resolve();

  document.documentElement.classList.add("scripted");

  // "#sex=female&period=2025Q4"; a plain "#trend" is a place on the page; unknown names and values are ignored
  function stateInAddress() {
    const found = { ...defaults };
    const asked = new URLSearchParams(location.hash.slice(1));
    page.controls.forEach(({ name, keys }) => {
      if (asked.has(name) && keys.includes(asked.get(name))) found[name] = asked.get(name);
    });
    return found;
  }

  function addressOf(wanted) {
    const changed = Object.entries(wanted).filter(([name, key]) => key !== defaults[name]);
    return changed.length ? "#" + new URLSearchParams(changed).toString() : "";
  }

  // links to sibling pages keep the choice; a page ignores what it does not know
  function carryOn() {
    const address = addressOf(state);
    document.querySelectorAll("a.carry").forEach((link) => {
      link.href = link.getAttribute("href").split("#")[0] + address;
    });
  }

  function showControls() {
    page.controls.forEach(({ name }) => {
      const field = form.elements[name];
      if (field) field.value = state[name];
    });
  }

  function later(work) {
    queue = queue.then(work).catch((error) => console.error(error));
    return queue;
  }

  function show(speak) {
    const said = [];
    figures.forEach(({ figure, section }) => {
      const rows = rowsOf(figure, state);
      const headline = headlineOf(figure, state);
      section.querySelector("[data-headline]").textContent = headline;
      if (figure.spec) {
        section.querySelector("[data-chart]").setAttribute("aria-label", words["chart.alt"].replace("{headline}", headline));
      }
      fillTable(section, figure, rows);
      said.push(headline);
      if (chart.isDrawn(figure)) later(() => chart.update(section, figure, rows));
    });
    carryOn();
    if (speak) document.getElementById("status").textContent = said.join(" ");
  }

  function choose(wanted) {
    state = wanted;
    history.replaceState(null, "", location.pathname + location.search + addressOf(state));
    show(true);
  }

  // a chart is drawn when it comes near the window, or all at once for print
  function draw({ figure, section }) {
    return later(() => chart.embed(section, figure, rowsOf(figure, state)));
  }

  const near = new IntersectionObserver((entries) => {
    entries.filter((entry) => entry.isIntersecting).forEach((entry) => {
      near.unobserve(entry.target);
      draw(figures.find(({ section }) => section === entry.target));
    });
  }, { rootMargin: "600px 0px" });

  state = stateInAddress();
  if (form) {
    showControls();
    form.addEventListener("change", (event) => choose({ ...state, [event.target.name]: event.target.value }));
    form.addEventListener("reset", () => setTimeout(() => choose({ ...defaults }), 0));
    form.addEventListener("submit", (event) => event.preventDefault());
    window.addEventListener("hashchange", () => { state = stateInAddress(); showControls(); show(true); });
  }
  show(false);
  figures.filter(({ figure }) => figure.spec).forEach(({ section }) => near.observe(section));

  window.addEventListener("beforeprint", () => {
    figures.filter(({ figure }) => figure.spec && !chart.isDrawn(figure)).forEach(draw);
  });
})();
