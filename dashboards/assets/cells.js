// Cells of the page's cubes → rows, texts and tables. The texts are those of dashboards/figures.py, digit for digit.
(function () {
  "use strict";
  const page = JSON.parse(document.getElementById("data").textContent);
  const words = page.words;

  // 1234567 steps of 0.1 → "123 456.7"; whole steps in, so no rounding happens here
  function written(steps, decimals) {
    const digits = String(Math.abs(steps)).padStart(decimals + 1, "0");
    const cut = digits.length - decimals;
    const whole = digits.slice(0, cut).replace(/(\d)(?=(\d{3})+$)/g, "$1" + page.locale.thousands);
    return (steps < 0 ? page.locale.minus : "") + whole + (decimals ? page.locale.decimal + digits.slice(cut) : "");
  }

  function axis(cube, name) {
    return cube.dimensions.find((dimension) => dimension.name === name);
  }

  // -1 off an axis: a page's controls can offer more than one of its cubes holds
  function cellIndex(cube, at) {
    return cube.dimensions.reduce((index, dimension) => {
      const place = dimension.keys.indexOf(at[dimension.name]);
      return index < 0 || place < 0 ? -1 : index * dimension.keys.length + place;
    }, 0);
  }

  function cellText(column, cell, decimals, none) {
    if (cell.state === "-") return none;
    if (cell.state === "w") return words.withheld;
    const first = cell[column.of[0]];
    if (first === null && column.kind !== "interval") return column.missing;
    if (column.kind === "word") return column.words[first];
    if (column.kind === "p" && first === 0) return words["p.small"];
    const texts = column.of.map((name) => (cell[name] === null ? words.no_limit : written(cell[name], decimals[name])));
    if (column.kind === "interval" && first === null && cell[column.of[1]] === null) return words.no_interval;
    if (column.kind === "interval") return texts[0] + page.locale.range + texts[1] + column.sign;
    if (column.kind === "value_interval") return `${texts[0]}\n(${texts[1]}${page.locale.range}${texts[2]})`;
    const mark = cell.state === "u" && column.isMarked ? ` (${words.unreliable})` : "";
    return texts[0] + column.sign + mark;
  }

  // every combination of the keys of some dimensions, the last moving fastest
  function combinations(lists) {
    return lists.reduce((done, keys) => done.flatMap((start) => keys.map((key) => [...start, key])), [[]]);
  }

  // The rows of a figure for the reader's choice: keys and labels, figures in the unit that is read, table texts.
  function rowsOf(figure, state) {
    const cube = page.cubes[figure.cube];
    const at = { ...figure.fixed };
    figure.picks.forEach((name) => { at[name] = state[name]; });
    const lists = figure.along.map((name) => {
      const chosen = figure.chosen[name];
      return chosen ? chosen.keys[state[chosen.control]] : figure.only[name];
    });
    const rows = combinations(lists).map((keys) => {
      figure.along.forEach((name, i) => { at[name] = keys[i]; });
      const index = cellIndex(cube, at);
      const cell = { state: index < 0 ? "-" : cube.states[index] };
      const row = { state: cell.state };
      for (const [name, values] of Object.entries(cube.columns)) {
        cell[name] = index < 0 ? null : values[index];
        row[name] = cell[name] === null ? null : cell[name] / 10 ** cube.decimals[name];
      }
      figure.along.forEach((name, i) => {
        const dimension = axis(cube, name);
        row[name] = dimension.labels[dimension.keys.indexOf(keys[i])];
        row[name + "_key"] = keys[i];
      });
      row.heads = figure.along.map((name) => row[name]);
      row.link = figure.links[keys[0]] || null;
      row.inTable = figure.along.every((name, i) => !figure.tabled[name] || figure.tabled[name].includes(keys[i]));
      row.cells = figure.columns.map((column) => cellText(column, cell, cube.decimals, figure.none));
      row.cells.forEach((text, i) => { row["t" + i] = text; });
      if (cell.state === "-") row.cells = [figure.none];
      return row;
    });
    if (figure.order && state[figure.order] === "people") {
      const size = (row) => (row.site_key === "" ? Infinity : row.people === null ? -1 : row.people);
      rows.sort((one, other) => size(other) - size(one));   // stable: equal sizes stay in the order of names
    }
    rows.forEach((row, i) => { row.at = i; });
    return rows;
  }

  function headlineOf(figure, state) {
    return figure.headlines[figure.picks.map((name) => state[name]).join("|")];
  }

  function fillTable(section, figure, every) {
    const rows = every.filter((row) => row.inTable);
    const body = section.querySelector("[data-table] tbody");
    body.replaceChildren(...rows.map((row) => {
      const line = document.createElement("tr");
      line.dataset.state = row.state;
      row.heads.forEach((text, i) => {
        const head = document.createElement("th");
        head.scope = "row";
        if (i === 0 && row.link) {
          const link = document.createElement("a");
          link.className = "carry";
          link.href = row.link;
          link.textContent = text;
          head.append(link);
        } else {
          head.textContent = text;
        }
        line.append(head);
      });
      row.cells.forEach((text) => {
        const cell = document.createElement("td");
        cell.textContent = text;
        if (row.cells.length < figure.columns.length) cell.colSpan = figure.columns.length;
        line.append(cell);
      });
      return line;
    }));
    section.classList.toggle("without-rows", !rows.length);
    section.querySelector("[data-withheld]").hidden = !rows.some((row) => row.cells.some((text) => text.includes(words.withheld)));
    section.querySelector("[data-unreliable]").hidden = !rows.some((row) => row.state === "u");
  }

  window.evenbeam = { page, words, rowsOf, headlineOf, fillTable };
})();
