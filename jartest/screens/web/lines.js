// Four lines over a photo, each with a grip in the gutter beside it.  Positions are kept in pixels of the
// full-size photo, pixel centres at integers; `data.id` names the reading, and a new id starts afresh.
const CALLED = { left: "left wall", right: "right wall", floor: "floor", surface: "surface" };
// Where a line that could not be told starts, as a fraction of the photo's width or height.
const START = { left: 0.3, right: 0.7, floor: 0.8, surface: 0.35 };
const ZOOM = 3;
const across = (name) => name === "floor" || name === "surface";

function startLines(data) {
  const lines = {};
  for (const name of Object.keys(CALLED)) {
    const told = data.lines[name];
    const size = across(name) ? data.height_px : data.width_px;
    const known = told !== null && told !== undefined;
    lines[name] = { px: known ? told : START[name] * size - 0.5, set: known };
  }
  return lines;
}

export default function (component) {
  const { data, parentElement, setTriggerValue } = component;
  const setter = parentElement.querySelector(".setter");
  const find = (selector) => setter.querySelector(selector);
  const photo = find(".photo"), board = find(".board"), lens = find(".lens"), say = find(".say");
  const keep = find(".keep"), back = find(".back");

  let state = setter.jartest;
  if (!state || state.id !== data.id) {
    state = { id: data.id, lines: startLines(data), held: null };
    setter.jartest = state;
    find("img").src = data.src;
    photo.style.width = `${Math.round((600 * data.width_px) / data.height_px)}px`;
    photo.style.maxWidth = "100%";
    tell();
  }
  keep.disabled = false;
  back.disabled = false;

  const sizeOf = (name) => (across(name) ? data.height_px : data.width_px);
  const shownAt = (name) => ((state.lines[name].px + 0.5) / sizeOf(name)) * (across(name) ? photo.clientHeight : photo.clientWidth);
  const clamp = (x, low, high) => Math.min(Math.max(x, low), Math.max(low, high));

  function missing() {
    return Object.keys(CALLED).filter((name) => !state.lines[name].set);
  }

  function tell(text) {
    const open = Object.keys(CALLED).filter((name) => !state.lines[name].set);
    say.textContent = text || (open.length
      ? `Not told by the photo: ${open.map((name) => CALLED[name]).join(", ")}. Drag ${open.length > 1 ? "them" : "it"} to the right place.`
      : "Check the four lines; drag a yellow grip where one is off.");
  }

  function place() {
    for (const name of Object.keys(CALLED)) {
      const { px, set } = state.lines[name];
      const at = shownAt(name);
      const line = find(`.line[data-line=${name}]`), grip = find(`.grip[data-line=${name}]`);
      line.style[across(name) ? "top" : "left"] = `${at}px`;
      for (const el of [line, grip]) {
        el.classList.toggle("unset", !set);
        el.classList.toggle("held", state.held === name);
      }
      const words = document.createElement("small");
      words.textContent = set ? (across(name) ? "↕ drag" : "↔ drag") : "set me";
      grip.replaceChildren(CALLED[name], words);
      grip.setAttribute("aria-label", `${CALLED[name]}, ${set ? "set" : "not set yet"}; arrow keys move it`);
      grip.setAttribute("aria-orientation", across(name) ? "vertical" : "horizontal");
      grip.setAttribute("aria-valuemin", "0");
      grip.setAttribute("aria-valuemax", String(sizeOf(name) - 1));
      grip.setAttribute("aria-valuenow", String(Math.round(px)));
      // Each grip lies on the outer side of its line, so that two near lines never hide each other's grip.
      if (across(name)) {
        grip.style.left = `${photo.clientWidth + 3}px`;
        grip.style.top = `${clamp(name === "surface" ? at - 52 : at, 0, board.clientHeight - 52)}px`;
      } else {
        grip.style.top = `${photo.clientHeight + 6}px`;
        grip.style.left = `${clamp(name === "left" ? at - 80 : at, 0, board.clientWidth - 80)}px`;
      }
    }
    showLens();
  }

  function showLens() {
    const name = state.held;
    lens.hidden = !name;
    if (!name) return;
    const w = photo.clientWidth, h = photo.clientHeight;
    const x = across(name) ? (shownAt("left") + shownAt("right")) / 2 : shownAt(name);
    const y = across(name) ? shownAt(name) : (shownAt("surface") + shownAt("floor")) / 2;
    lens.className = `lens ${across(name) ? "across" : "down"}`;
    lens.style.left = x > w / 2 ? "6px" : "auto";
    lens.style.right = x > w / 2 ? "auto" : "6px";
    lens.style.top = y > h / 2 ? "6px" : "auto";
    lens.style.bottom = y > h / 2 ? "auto" : "6px";
    lens.style.backgroundImage = `url("${data.src}")`;
    lens.style.backgroundSize = `${w * ZOOM}px ${h * ZOOM}px`;
    lens.style.backgroundPosition = `${lens.clientWidth / 2 - x * ZOOM}px ${lens.clientHeight / 2 - y * ZOOM}px`;
  }

  function move(name, px) {
    state.lines[name] = { px: clamp(px, 0, sizeOf(name) - 1), set: true };
    tell();
    place();
  }

  for (const grip of setter.querySelectorAll(".grip")) {
    const name = grip.dataset.line;
    const along = (e) => (across(name) ? e.clientY : e.clientX);
    let from = null;
    grip.onpointerdown = (e) => {
      e.preventDefault();
      grip.focus({ preventScroll: true });
      grip.setPointerCapture(e.pointerId);
      from = { at: along(e), px: state.lines[name].px };
      state.held = name;
      move(name, from.px);
    };
    grip.onpointermove = (e) => {
      if (!from) return;
      const shown = across(name) ? photo.clientHeight : photo.clientWidth;
      move(name, from.px + ((along(e) - from.at) * sizeOf(name)) / shown);
    };
    const letGo = () => { from = null; state.held = null; place(); };
    grip.onpointerup = letGo;
    grip.onpointercancel = letGo;
    grip.onlostpointercapture = letGo;
    grip.onkeydown = (e) => {
      const back = across(name) ? "ArrowUp" : "ArrowLeft", on = across(name) ? "ArrowDown" : "ArrowRight";
      if (e.key !== back && e.key !== on) return;
      e.preventDefault();
      const step = Math.max(1, Math.round(sizeOf(name) / 1000)) * (e.shiftKey ? 10 : 1);
      state.held = name;
      move(name, state.lines[name].px + (e.key === on ? step : -step));
    };
    grip.onblur = () => { if (!from) { state.held = null; place(); } };
  }

  keep.onclick = () => {
    const open = missing();
    if (open.length) {
      tell(`First set the ${CALLED[open[0]]}: drag the grip that says “set me”.`);
      return;
    }
    keep.disabled = true;
    back.disabled = true;
    tell("Measuring between your lines …");
    const { left, right, floor, surface } = state.lines;
    setTriggerValue("kept", { id: state.id, left_px: left.px, right_px: right.px, floor_px: floor.px, surface_px: surface.px });
  };
  back.onclick = () => { state.lines = startLines(data); tell(); place(); };

  setter.watcher?.disconnect(); // of an earlier call: new data does not unmount the page's piece
  setter.watcher = new ResizeObserver(place);
  setter.watcher.observe(photo);
  place();
  return () => setter.watcher.disconnect();
}
