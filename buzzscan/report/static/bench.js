"use strict";
(function () {
  const data = JSON.parse(document.getElementById("positions").textContent);
  const byId = (id) => document.getElementById(id);
  const table = document.querySelector("table.map");
  const cells = Array.from(table.querySelectorAll("a.cell"));
  const cellOf = new Map(cells.map((cell) => [cell.dataset.key, cell]));
  let picked = "";

  for (const part of document.querySelectorAll(".needs-script")) part.hidden = false;
  for (const part of document.querySelectorAll(".without-script")) part.hidden = true;

  function setText(id, text) {
    byId(id).textContent = text;
  }

  function showClip(prefix, position) {
    const clip = position && position.clip;
    const trace = byId(prefix + "-trace");
    trace.querySelector(".wave").setAttribute("d", clip ? clip.wave : "");
    const image = trace.querySelector("image");
    if (clip) image.setAttribute("href", clip.spectrogram);
    else image.removeAttribute("href");
    const sound = byId(prefix + "-sound");
    sound.pause();
    sound.hidden = !clip;
    if (clip) sound.src = clip.sound;
    else sound.removeAttribute("src");
    setText(prefix + "-label", clip ? clip.label : "no note to show");
    byId("falls").querySelector(prefix === "note" ? ".one" : ".other")
      .setAttribute("d", clip ? clip.fall : "");
  }

  function showNumbers(position, clean) {
    const body = byId("numbers");
    body.replaceChildren();
    position.numbers.forEach(([name, value], index) => {
      const row = body.insertRow();
      const head = document.createElement("th");
      head.scope = "row";
      head.textContent = name;
      row.append(head);
      row.insertCell().textContent = value;
      row.insertCell().textContent = clean ? clean.numbers[index][1] : "–";
    });
  }

  function showVerdicts(position) {
    const line = byId("closer-verdicts");
    line.replaceChildren();
    for (const [layer, word, key] of position.verdicts) {
      const chip = document.createElement("span");
      chip.className = "verdict t-" + key;
      chip.textContent = layer + ": " + word;
      line.append(chip);
    }
    if (position.reason) line.append(" " + position.reason);
  }

  function pick(key) {
    const position = data[key];
    if (!position) return;
    picked = key;
    const clean = position.against || data[position.neighbour] || null;
    for (const cell of cells) {
      const here = cell.dataset.key === key;
      cell.tabIndex = here ? 0 : -1;
      if (here) cell.setAttribute("aria-current", "true");
      else cell.removeAttribute("aria-current");
      cell.classList.toggle("against", Boolean(clean) && cell.dataset.key === position.neighbour);
    }
    setText("closer-title", position.title);
    setText("note-name", position.title);
    setText("clean-name", clean ? clean.title : position.alone);
    showVerdicts(position);
    showNumbers(position, clean);
    showClip("note", position);
    showClip("clean", clean);
  }

  function turned() {
    return getComputedStyle(table).writingMode !== "horizontal-tb";
  }

  const steps = { ArrowLeft: [0, -1], ArrowRight: [0, 1], ArrowUp: [-1, 0], ArrowDown: [1, 0] };
  /* With the neck upright, strings run right to left and frets downwards. */
  const turnedSteps = { ArrowLeft: [1, 0], ArrowRight: [-1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

  function walk(event) {
    const cell = event.target.closest("a.cell");
    if (!cell || event.altKey || event.ctrlKey || event.metaKey) return;
    if (event.key === " ") {
      event.preventDefault();
      pick(cell.dataset.key);
      return;
    }
    const row = Array.from(cell.closest("tr").querySelectorAll("a.cell"));
    let goal = null;
    if (event.key === "Home") goal = row[0];
    else if (event.key === "End") goal = row[row.length - 1];
    else {
      const step = (turned() ? turnedSteps : steps)[event.key];
      if (!step) return;
      let [string, fret] = cell.dataset.key.split("-").map(Number);
      for (let tries = 0; tries < 64 && !goal; tries += 1) {
        string += step[0];
        fret += step[1];
        goal = cellOf.get(string + "-" + fret) || null;
      }
    }
    event.preventDefault();
    if (goal) {
      pick(goal.dataset.key);
      goal.focus();
    }
  }

  table.addEventListener("keydown", walk);
  table.addEventListener("click", (event) => {
    const cell = event.target.closest("a.cell");
    if (!cell) return;
    event.preventDefault();
    pick(cell.dataset.key);
    cell.focus();
  });
  for (const link of document.querySelectorAll(".findings a[data-key]")) {
    link.addEventListener("click", (event) => {
      event.preventDefault();
      pick(link.dataset.key);
      byId("closer").scrollIntoView();
      const cell = cellOf.get(link.dataset.key);
      if (cell) cell.focus({ preventScroll: true });
    });
  }

  byId("only").addEventListener("change", (event) => {
    const only = event.target.value;
    for (const row of document.querySelectorAll("tr[data-string]")) {
      row.classList.toggle("aside", only !== "" && row.dataset.string !== only);
    }
    for (const item of document.querySelectorAll(".findings li[data-strings]")) {
      const strings = item.dataset.strings.split(" ");
      item.classList.toggle("aside", only !== "" && !strings.includes(only));
    }
  });

  byId("both").addEventListener("click", () => {
    const note = byId("note-sound");
    const clean = byId("clean-sound");
    clean.pause();
    note.currentTime = 0;
    note.onended = () => {
      note.onended = null;
      if (clean.src) {
        clean.currentTime = 0;
        clean.play();
      }
    };
    note.play();
  });

  window.addEventListener("beforeprint", () => { byId("notes").open = true; });
  const first = table.dataset.first || (cells[0] && cells[0].dataset.key);
  if (first) pick(first);
  else byId("closer").hidden = true;
})();
