"use strict";
/* The take list: sort, filter, search. */
(() => {
  const table = document.getElementById("take-table");
  const tools = document.getElementById("tools");
  if (!table || !tools) return;
  const body = table.tBodies[0];
  const rows = Array.from(body.rows);
  const heads = Array.from(table.tHead.rows[0].cells);
  const search = document.getElementById("search");
  const show = document.getElementById("show");
  const count = document.getElementById("count");
  const order = new Intl.Collator("en", { numeric: true, sensitivity: "base" });
  const names = new Map(rows.map((row) => [row, (row.dataset.names || "").toLowerCase().split("\n")]));
  const texts = new Map(rows.map((row) => [row, row.textContent.toLowerCase() + "\n" + names.get(row).join("\n")]));

  /* "10:02:13", with frames or without seconds: the span it names, in thousandths of a second by the numbers alone. */
  const DAY = 86400000;
  const spanOf = (text) => {
    const parts = /^(\d{1,2}):([0-5]\d)(?::([0-5]\d)(?:[:;.,](\d{1,3}))?)?$/.exec(text);
    if (!parts) return null;
    const from = ((Number(parts[1]) * 60 + Number(parts[2])) * 60 + Number(parts[3] || 0)) * 1000 + Number(parts[4] || 0);
    return { from, to: from + (parts[4] ? 1 : parts[3] ? 1000 : 60000) };
  };
  const times = new Map(rows.map((row) => {
    const from = spanOf(row.dataset.from || ""), to = spanOf(row.dataset.to || "");
    if (!from || !to) return [row, null];
    return [row, { from: from.from, to: to.from < from.from ? to.from + DAY : to.from }];
  }));
  const runsAt = (row, asked) => {
    const time = times.get(row);
    return time !== null && [0, DAY].some((day) => asked.from + day < time.to && asked.to + day > time.from);
  };

  /* A whole name goes before parts of it: "12A take 1" is not 12A take 10. */
  const isNamed = (row, query) => names.get(row).some((name) => name === query || name.endsWith("/" + query) ||
    name.replace(/\.[^./]*$/, "") === query || name.replace(/\.[^./]*$/, "").endsWith("/" + query));
  const finder = () => {
    const query = search.value.trim().toLowerCase().replace(/\s+/g, " ");
    const words = query.split(" ").filter(Boolean);
    const asked = spanOf(query);
    if (query !== "" && rows.some((row) => isNamed(row, query))) return (row) => isNamed(row, query);
    return (row) => words.every((word) => texts.get(row).includes(word)) || (asked !== null && runsAt(row, asked));
  };

  const filter = () => {
    const found = finder();
    let shown = 0;
    for (const row of rows) {
      const fits = (!show.value || row.dataset.verdict === show.value) && found(row);
      row.hidden = !fits;
      shown += fits;
    }
    count.textContent = shown + " of " + rows.length + (rows.length === 1 ? " take" : " takes");
  };

  const keyOf = (row, column) => {
    const cell = row.cells[column];
    return "key" in cell.dataset ? cell.dataset.key : cell.textContent;
  };
  const compare = (a, b, numeric) => {
    if (!numeric) return order.compare(a, b);
    if (a === "" || b === "") return (a === "") - (b === "");
    return Number(a) - Number(b);
  };
  const sort = (column) => {
    const head = heads[column];
    const down = head.getAttribute("aria-sort") === "ascending";
    const numeric = rows.length > 0 && "key" in rows[0].cells[column].dataset;
    for (const other of heads) other.removeAttribute("aria-sort");
    head.setAttribute("aria-sort", down ? "descending" : "ascending");
    const sorted = rows.map((row, place) => ({ row, place, key: keyOf(row, column) }));
    sorted.sort((a, b) => (down ? -1 : 1) * compare(a.key, b.key, numeric) || a.place - b.place);
    body.append(...sorted.map((item) => item.row));
  };

  heads.forEach((head, column) => {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = head.textContent;
    button.addEventListener("click", () => sort(column));
    head.replaceChildren(button);
  });
  search.addEventListener("input", filter);
  show.addEventListener("change", filter);
  tools.hidden = false;
  filter();
})();

/* Players on the recordings themselves. Nothing is asked for before the reader presses the button. */
(() => {
  const tools = document.getElementById("sound-tools");
  const look = document.getElementById("sound-look");
  const said = document.getElementById("sound-said");
  const sounds = Array.from(document.querySelectorAll("[data-sound]"));
  if (!tools || sounds.length === 0) return;
  const names = tools.dataset.sources.split(" ");
  const START_VOLUME = 0.3;
  const CONTEXT_S = 1;

  const loads = (url) => new Promise((done) => {
    const audio = new Audio();
    const end = (found) => { clearTimeout(timer); audio.removeAttribute("src"); audio.load(); done(found); };
    const timer = setTimeout(end, 10000, false);
    audio.addEventListener("loadedmetadata", () => end(true), { once: true });
    audio.addEventListener("error", () => end(false), { once: true });
    audio.preload = "metadata";
    audio.src = url;
  });

  /* Three files are tried, because one may be too damaged for the browser. */
  const findSource = async (files, name) => {
    const places = name === "." ? ["./", "../"] : ["./", "./" + name + "/", "../", "../" + name + "/"];
    for (const file of files.slice(0, 3))
      for (const place of places)
        if (await loads(place + file.dataset.sound)) return place;
    return null;
  };

  const addPlayer = (holder, place) => {
    const audio = document.createElement("audio");
    const note = document.createElement("p");
    const name = holder.querySelector("p").textContent;
    audio.controls = true;
    audio.preload = "none";
    audio.volume = START_VOLUME;
    audio.setAttribute("aria-label", "Recording " + name);
    audio.src = place + holder.dataset.sound;
    note.setAttribute("role", "status");
    audio.addEventListener("loadedmetadata", () => {
      const is = audio.duration, was = Number(holder.dataset.length);
      if (Math.abs(is - was) > 0.1)
        note.textContent = "Careful: it plays " + is.toFixed(1) + " s, and the file that was checked had " + was.toFixed(1) + " s.";
    });
    audio.addEventListener("error", () => { note.textContent = "This browser cannot open it there."; });
    holder.append(audio, note);
    return audio;
  };

  const addButton = (place, audio) => {
    const button = document.createElement("button");
    const from = Math.max(0, Number(place.dataset.at) - CONTEXT_S);
    button.type = "button";
    button.className = "play";
    button.setAttribute("aria-label", "Play " + place.textContent);
    button.append(...place.childNodes);
    button.addEventListener("click", () => {
      audio.currentTime = from;
      audio.play().catch(() => {});
    });
    place.append(button);
  };

  const addCaution = (list) => {
    if (!list.hidden) return;
    const caution = document.createElement("p");
    const word = document.createElement("b");
    caution.className = "caution";
    word.textContent = "Headphones:";
    caution.append(word, " turn them down before you play; all tracks of the file sound at once, as recorded.");
    list.prepend(caution);
    list.hidden = false;
  };

  look.addEventListener("click", async () => {
    const found = [];
    look.disabled = true;
    said.textContent = "Looking\u2026";
    for (let source = 0; source < names.length; source++) {
      const files = sounds.filter((file) => Number(file.dataset.source) === source);
      const place = await findSource(files, names[source]);
      if (place === null) continue;
      found.push(place.startsWith("../") ? "one folder up" : "beside this report");
      const players = new Map(files.map((file) => [file.dataset.file, addPlayer(file, place)]));
      for (const list of new Set(files.map((file) => file.parentElement))) addCaution(list);
      for (const mark of document.querySelectorAll(".place[data-at]"))
        if (players.has(mark.dataset.file)) addButton(mark, players.get(mark.dataset.file));
    }
    look.hidden = found.length > 0;
    look.disabled = false;
    said.textContent = found.length > 0
      ? "Found " + [...new Set(found)].join(" and ") + ". Press the time of a finding to hear it from one second before."
      : "Not found. Put this report beside the recordings, or beside the folder that holds them, and look again.";
  });
  document.addEventListener("play", (event) => {
    for (const other of document.querySelectorAll("audio")) if (other !== event.target) other.pause();
  }, true);
  tools.hidden = false;
})();
