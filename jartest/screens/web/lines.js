// A photo on which a thumb puts a reading right: four lines of the jar, the layers' boundaries and names, and
// lumps that were missed.  Every line has a grip in the gutter beside it.  Positions are kept in pixels of the
// full-size photo, pixel centres at integers; `data.id` names the reading, and a new id starts afresh.
const CALLED = { left: "left wall", right: "right wall", floor: "floor", surface: "surface" };
// Where a line that could not be told starts, as a fraction of the photo's width or height.
const START = { left: 0.3, right: 0.7, floor: 0.8, surface: 0.35 };
const KINDS = ["settled", "body", "clear", "floating", "foam"];
const KEEP = { jar: "Lines are right", layers: "Layers are right", lumps: "Lumps are marked" };
const SAYS = {
  layers: "Drag a boundary, add one or take one out; name a layer whose name is wrong.",
  lumps: "Tap each lump that the reading missed. Thin rings are lumps it found.",
};
const ZOOM = 3;
const GRIP = 54; // px from one grip's top to the next
const across = (name) => name === "floor" || name === "surface";
const clamp = (x, low, high) => Math.min(Math.max(x, low), Math.max(low, high));

function make(tag, className, text) {
  const el = document.createElement(tag);
  el.className = className;
  if (text !== undefined) el.textContent = text;
  return el;
}

function start(data) {
  const lines = {};
  for (const name of Object.keys(CALLED)) {
    const told = data.lines[name];
    const size = across(name) ? data.height_px : data.width_px;
    const known = told !== null && told !== undefined;
    lines[name] = { px: known ? told : START[name] * size - 0.5, set: known };
  }
  return {
    id: data.id, mode: "jar", held: null, chosen: null, lines,
    rows: [...data.rows], // boundaries from the floor up
    kinds: data.kinds.map((k) => ({ ...k })), // one more than rows: as read, and as named
    layersSet: data.layers_set, // by hand, now or before
    lumps: data.marked.map((m) => ({ ...m })),
  };
}

export default function (component) {
  const { data, parentElement, setTriggerValue } = component;
  const setter = parentElement.querySelector(".setter");
  const find = (selector) => setter.querySelector(selector);
  const photo = find(".photo"), board = find(".board"), lens = find(".lens"), say = find(".say");
  const keep = find(".keep"), back = find(".back");

  let state = setter.jartest;
  if (!state || state.id !== data.id) {
    const mode = state ? state.mode : "jar";
    state = { ...start(data), mode };
    setter.jartest = state;
    find("img").src = data.src;
    photo.style.width = `${Math.round((600 * data.width_px) / data.height_px)}px`;
    photo.style.maxWidth = "100%";
    tell();
  }
  keep.disabled = false;
  back.disabled = false;

  const sizeOf = (flat) => (flat ? data.height_px : data.width_px);
  const shown = (px, flat) => ((px + 0.5) / sizeOf(flat)) * (flat ? photo.clientHeight : photo.clientWidth);
  const unset = () => Object.keys(CALLED).filter((name) => !state.lines[name].set);

  function tell(text) {
    const open = Object.keys(CALLED).filter((name) => !state.lines[name].set);
    say.textContent = text || SAYS[state.mode] || (open.length
      ? `Not told by the photo: ${open.map((name) => CALLED[name]).join(", ")}. Drag ${open.length > 1 ? "them" : "it"} to the right place.`
      : "Check the four lines; drag a yellow grip where one is off.");
  }

  // ---------------------------------------------------------------- what is where
  // A thing that can be moved: where it is, how far it may go, how to put it, and what the lens shows.
  function handle(name) {
    const middle = () => (state.lines.left.px + state.lines.right.px) / 2;
    if (CALLED[name]) {
      const flat = across(name);
      return {
        flat, px: state.lines[name].px, low: 0, high: sizeOf(flat) - 1,
        put: (px) => { state.lines[name] = { px, set: true }; },
        look: () => (flat ? [middle(), state.lines[name].px] : [state.lines[name].px, (state.lines.surface.px + state.lines.floor.px) / 2]),
      };
    }
    if (name.startsWith("row")) {
      const i = Number(name.slice(3));
      return {
        flat: true, px: state.rows[i],
        low: i + 1 < state.rows.length ? state.rows[i + 1] + 2 : 0,
        high: (i ? state.rows[i - 1] : state.lines.floor.px) - 2,
        put: (px) => { state.rows[i] = px; state.layersSet = true; },
        look: () => [middle(), state.rows[i]],
      };
    }
    const lump = state.lumps[state.chosen], flat = name === "lump-row", key = flat ? "row_px" : "col_px";
    return {
      flat, px: lump[key], low: 0, high: sizeOf(flat) - 1,
      put: (px) => { lump[key] = px; },
      look: () => [lump.col_px, lump.row_px],
    };
  }

  function move(name, px) {
    const h = handle(name);
    h.put(clamp(px, h.low, h.high));
    tell();
    place();
  }

  // -------------------------------------------------------------------- drawing
  function label(grip, words, small, name) {
    const h = handle(name);
    grip.replaceChildren(words, make("small", "", small));
    grip.setAttribute("aria-orientation", h.flat ? "vertical" : "horizontal");
    grip.setAttribute("aria-valuemin", String(Math.round(h.low)));
    grip.setAttribute("aria-valuemax", String(Math.round(h.high)));
    grip.setAttribute("aria-valuenow", String(Math.round(h.px)));
    grip.classList.toggle("held", state.held === name);
  }

  function place() {
    setter.dataset.mode = state.mode;
    for (const b of setter.querySelectorAll(".modes button")) b.setAttribute("aria-pressed", String(b.dataset.mode === state.mode));
    for (const t of setter.querySelectorAll(".tools")) t.hidden = t.dataset.for !== state.mode;
    keep.textContent = KEEP[state.mode];
    placeLines();
    placeRows();
    placeLumps();
    showLens();
  }

  function placeLines() {
    for (const name of Object.keys(CALLED)) {
      const { px, set } = state.lines[name];
      const at = shown(px, across(name));
      const line = find(`.line[data-line=${name}]`), grip = find(`.grip[data-line=${name}]`);
      line.style[across(name) ? "top" : "left"] = `${at}px`;
      for (const el of [line, grip]) {
        el.classList.toggle("unset", !set);
        el.classList.toggle("held", state.held === name);
      }
      grip.hidden = state.mode !== "jar";
      label(grip, CALLED[name], set ? (across(name) ? "↕ drag" : "↔ drag") : "set me", name);
      grip.setAttribute("aria-label", `${CALLED[name]}, ${set ? "set" : "not set yet"}; arrow keys move it`);
      // Each grip lies on the outer side of its line, so that two near lines never hide each other's grip.
      if (across(name)) {
        grip.style.left = `${photo.clientWidth + 3}px`;
        grip.style.top = `${clamp(name === "surface" ? at - 52 : at, 0, board.clientHeight - 52)}px`;
      } else {
        grip.style.top = `${photo.clientHeight + 6}px`;
        grip.style.left = `${clamp(name === "left" ? at - 80 : at, 0, board.clientWidth - 80)}px`;
      }
    }
  }

  function fitCount(parent, count, one) {
    while (parent.children.length > count) parent.lastElementChild.remove();
    while (parent.children.length < count) parent.append(one(parent.children.length));
    return [...parent.children];
  }

  function placeRows() {
    const rows = find(".rows"), grips = find(".row-grips");
    const lines = fitCount(rows, state.rows.length, (i) => {
      const line = make("div", "line across row");
      line.append(make("span", "tag", String(i + 1)));
      return line;
    });
    const knobs = fitCount(grips, state.rows.length, (i) => {
      const grip = make("button", "grip");
      grip.type = "button";
      grip.setAttribute("role", "slider");
      grip.dataset.row = String(i);
      return grip;
    });
    let free = board.clientHeight - 52; // grips of near boundaries stand above one another, in their order
    const wanted = state.rows.map((px) => shown(px, true) - 26);
    const tops = wanted.map((top) => { const at = Math.min(top, free); free = at - GRIP; return at; });
    for (let i = tops.length - 1, low = 0; i >= 0; i--) { tops[i] = Math.max(tops[i], low); low = tops[i] + GRIP; }
    state.rows.forEach((px, i) => {
      lines[i].style.top = `${shown(px, true)}px`;
      lines[i].classList.toggle("held", state.held === `row${i}`);
      const grip = knobs[i];
      grip.hidden = state.mode !== "layers";
      grip.style.left = `${photo.clientWidth + 3}px`;
      grip.style.top = `${tops[i]}px`;
      label(grip, "boundary", `${i + 1} ↕ drag`, `row${i}`);
      grip.setAttribute("aria-label", `boundary ${i + 1} from the floor; arrow keys move it`);
      wire(grip, `row${i}`);
    });
  }

  // The layers as a list, the highest first, as they lie in the jar; drawn anew only when it changes.
  function listLayers() {
    const stack = find(".stack"), top = state.kinds.length - 1;
    stack.replaceChildren();
    for (let i = top; i >= 0; i--) {
      const where = top === 0 ? "The only layer" : i === top ? "Highest layer" : i === 0 ? "Lowest layer" : `Layer ${i + 1} from the floor`;
      const label = make("label", "", where);
      const select = make("select", "");
      select.dataset.layer = String(i);
      select.append(new Option(`as read: ${state.kinds[i].read || "not read yet"}`, ""));
      for (const kind of KINDS) {
        if (kind !== "foam" || (i === top && top > 0)) select.append(new Option(kind, kind));
      }
      select.value = state.kinds[i].named || "";
      select.onchange = () => {
        state.kinds[i].named = select.value || null;
        state.layersSet = true;
        place();
      };
      label.append(select);
      stack.append(label);
      if (i > 0) {
        const edge = make("div", "edge");
        const out = make("button", "", `Take out boundary ${i}`);
        out.type = "button";
        out.onclick = () => takeOut(i - 1);
        edge.append(out);
        stack.append(edge);
      }
    }
  }

  function takeOut(i) {
    state.rows.splice(i, 1);
    const [gone] = state.kinds.splice(i + 1, 1); // the layer above it goes into the one below
    state.kinds[i].named = state.kinds[i].named || (gone.named === "foam" ? null : gone.named);
    if (state.kinds.length === 1 && state.kinds[0].named === "foam") state.kinds[0].named = null;
    state.layersSet = true;
    listLayers();
    tell(`Boundary ${i + 1} is out; the layers beside it are one.`);
    place();
  }

  function addRow() {
    const floor = state.lines.floor.px, surface = state.lines.surface.px;
    const ends = [floor, ...state.rows.filter((r) => r > surface), surface];
    let at = 0; // in the middle of the tallest layer
    for (let i = 0; i + 1 < ends.length; i++) if (ends[i] - ends[i + 1] > ends[at] - ends[at + 1]) at = i;
    if (ends[at] - ends[at + 1] < 8) return;
    state.rows.splice(at, 0, (ends[at] + ends[at + 1]) / 2);
    state.kinds.splice(at + 1, 0, { read: state.kinds[at].read, named: null });
    state.layersSet = true;
    listLayers();
    tell(`Boundary ${at + 1} is new: drag it to where one layer ends.`);
    place();
    find(`.row-grips .grip[data-row="${at}"]`).focus({ preventScroll: true });
  }

  function placeLumps() {
    const rings = find(".rings");
    rings.replaceChildren();
    const draw = (lump, kind, chosen) => {
      const ring = make("div", `ring ${kind}${chosen ? " chosen" : ""}`);
      const wide = (lump.diameter_px / data.width_px) * photo.clientWidth;
      ring.style.left = `${shown(lump.col_px, false)}px`;
      ring.style.top = `${shown(lump.row_px, true)}px`;
      ring.style.width = ring.style.height = `${Math.max(wide, 4)}px`;
      rings.append(ring);
    };
    if (state.mode === "lumps") for (const lump of data.read) draw(lump, "read", false);
    state.lumps.forEach((lump, i) => draw(lump, "marked", state.mode === "lumps" && i === state.chosen));
    const known = state.mode === "lumps" && state.chosen !== null;
    for (const way of ["row", "col"]) {
      const grip = find(`.grip[data-lump=${way}]`);
      grip.hidden = !known;
      if (!known) continue;
      const lump = state.lumps[state.chosen];
      label(grip, `lump ${state.chosen + 1}`, way === "row" ? "↕ drag" : "↔ drag", `lump-${way}`);
      grip.setAttribute("aria-label", `lump ${state.chosen + 1}, ${way === "row" ? "up and down" : "left and right"}; arrow keys move it`);
      if (way === "row") {
        grip.style.left = `${photo.clientWidth + 3}px`;
        grip.style.top = `${clamp(shown(lump.row_px, true) - 26, 0, board.clientHeight - 52)}px`;
      } else {
        grip.style.top = `${photo.clientHeight + 6}px`;
        grip.style.left = `${clamp(shown(lump.col_px, false) - 40, 0, board.clientWidth - 80)}px`;
      }
    }
    for (const name of [".larger", ".smaller", ".drop-lump"]) find(name).disabled = state.chosen === null;
    const chips = fitCount(find(".chips"), state.lumps.length, (i) => {
      const chip = make("button", "", `Lump ${i + 1}`);
      chip.type = "button";
      return chip;
    });
    chips.forEach((chip, i) => {
      chip.setAttribute("aria-pressed", String(i === state.chosen));
      chip.onclick = () => { state.chosen = i; place(); };
    });
  }

  function addLump(col_px, row_px) {
    const last = state.lumps[state.lumps.length - 1];
    const wide = Math.max(state.lines.right.px - state.lines.left.px, 20);
    state.lumps.push({ row_px, col_px, diameter_px: last ? last.diameter_px : wide / 12 });
    state.chosen = state.lumps.length - 1;
    tell(`${state.lumps.length} marked. Drag the grips to move the last one; Larger and Smaller give its size.`);
    place();
  }

  function resize(factor) {
    const lump = state.lumps[state.chosen];
    lump.diameter_px = clamp(lump.diameter_px * factor, 1, data.width_px / 2);
    place();
  }

  function showLens() {
    const name = state.held;
    lens.hidden = !name;
    if (!name) return;
    const w = photo.clientWidth, h = photo.clientHeight, held = handle(name);
    const [col, row] = held.look();
    const x = shown(col, false), y = shown(row, true);
    lens.className = `lens ${name.startsWith("lump") ? "both" : held.flat ? "across" : "down"}`;
    lens.style.left = x > w / 2 ? "6px" : "auto";
    lens.style.right = x > w / 2 ? "auto" : "6px";
    lens.style.top = y > h / 2 ? "6px" : "auto";
    lens.style.bottom = y > h / 2 ? "auto" : "6px";
    lens.style.backgroundImage = `url("${data.src}")`;
    lens.style.backgroundSize = `${w * ZOOM}px ${h * ZOOM}px`;
    lens.style.backgroundPosition = `${lens.clientWidth / 2 - x * ZOOM}px ${lens.clientHeight / 2 - y * ZOOM}px`;
  }

  // --------------------------------------------------------------------- hands
  function wire(grip, name) {
    if (grip.wiredFor === state && grip.wiredName === name) return;
    grip.wiredFor = state;
    grip.wiredName = name;
    const along = (e) => (handle(name).flat ? e.clientY : e.clientX);
    let from = null;
    grip.onpointerdown = (e) => {
      e.preventDefault();
      grip.focus({ preventScroll: true });
      grip.setPointerCapture(e.pointerId);
      from = { at: along(e), px: handle(name).px };
      state.held = name;
      move(name, from.px);
    };
    grip.onpointermove = (e) => {
      if (!from) return;
      const flat = handle(name).flat;
      move(name, from.px + ((along(e) - from.at) * sizeOf(flat)) / (flat ? photo.clientHeight : photo.clientWidth));
    };
    const letGo = () => { from = null; state.held = null; place(); };
    grip.onpointerup = letGo;
    grip.onpointercancel = letGo;
    grip.onlostpointercapture = letGo;
    grip.onkeydown = (e) => {
      const { flat, px } = handle(name);
      const less = flat ? "ArrowUp" : "ArrowLeft", more = flat ? "ArrowDown" : "ArrowRight";
      if (e.key !== less && e.key !== more) return;
      e.preventDefault();
      const step = Math.max(1, Math.round(sizeOf(flat) / 1000)) * (e.shiftKey ? 10 : 1);
      state.held = name;
      move(name, px + (e.key === more ? step : -step));
    };
    grip.onblur = () => { if (!from) { state.held = null; place(); } };
  }

  for (const name of Object.keys(CALLED)) wire(find(`.grip[data-line=${name}]`), name);
  for (const way of ["row", "col"]) wire(find(`.grip[data-lump=${way}]`), `lump-${way}`);
  for (const b of setter.querySelectorAll(".modes button")) {
    b.onclick = () => { state.mode = b.dataset.mode; state.held = null; tell(); place(); };
  }
  find(".add-row").onclick = addRow;
  find(".add-lump").onclick = () => addLump(
    (state.lines.left.px + state.lines.right.px) / 2, (state.lines.surface.px + state.lines.floor.px) / 2);
  find(".larger").onclick = () => resize(1.25);
  find(".smaller").onclick = () => resize(0.8);
  find(".drop-lump").onclick = () => {
    state.lumps.splice(state.chosen, 1);
    state.chosen = state.lumps.length ? state.lumps.length - 1 : null;
    tell();
    place();
  };
  photo.onclick = (e) => {
    if (state.mode !== "lumps") return;
    const box = photo.getBoundingClientRect();
    const col = ((e.clientX - box.left) / photo.clientWidth) * data.width_px - 0.5;
    const row = ((e.clientY - box.top) / photo.clientHeight) * data.height_px - 0.5;
    const reach = (12 / photo.clientWidth) * data.width_px; // a tap this near chooses a lump that is marked already
    const near = state.lumps.findIndex((m) => Math.hypot(m.col_px - col, m.row_px - row) < m.diameter_px / 2 + reach);
    if (near < 0) addLump(col, row);
    else { state.chosen = near; place(); }
  };

  keep.onclick = () => {
    const open = unset();
    if (open.length) {
      state.mode = "jar";
      place();
      tell(`First set the ${CALLED[open[0]]}: drag the grip that says “set me”.`);
      return;
    }
    keep.disabled = true;
    back.disabled = true;
    tell("Measuring again with what you set …");
    const { left, right, floor, surface } = state.lines;
    setTriggerValue("kept", {
      id: state.id, left_px: left.px, right_px: right.px, floor_px: floor.px, surface_px: surface.px,
      boundaries_px: state.layersSet ? state.rows : null,
      kinds: state.layersSet ? state.kinds.map((k) => k.named) : null,
      lumps: state.lumps.map(({ row_px, col_px, diameter_px }) => ({ row_px, col_px, diameter_px })),
    });
  };
  back.onclick = () => {
    // In place, because the grips hold on to this very state.
    Object.assign(state, start(data), { mode: state.mode });
    listLayers();
    tell();
    place();
  };

  setter.watcher?.disconnect(); // of an earlier call: new data does not unmount the page's piece
  setter.watcher = new ResizeObserver(place);
  setter.watcher.observe(photo);
  listLayers();
  place();
  return () => setter.watcher.disconnect();
}
