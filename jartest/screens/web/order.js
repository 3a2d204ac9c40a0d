// A list whose lines are dragged by their grips, or moved one place by a tap or an arrow key; every move
// that is let go of is sent as the whole list of places.
export default function (component) {
  const { data, parentElement, setTriggerValue } = component;
  const order = parentElement.querySelector(".order"), list = order.querySelector("ol"), say = order.querySelector(".say");
  const lines = () => [...list.children];
  const places = () => lines().map((line) => Number(line.dataset.place));
  const focus = order.jartest?.focus; // what was moved by key keeps the focus when the list is drawn anew
  order.jartest = {};

  function button(kind, text, label) {
    const made = document.createElement("button");
    made.type = "button";
    made.className = kind;
    made.textContent = text;
    made.setAttribute("aria-label", label);
    return made;
  }

  function number() {
    const all = lines();
    all.forEach((line, n) => {
      line.querySelector("b").textContent = `${n + 1} · ${data.lines[line.dataset.place]}`;
      line.querySelector(".up").disabled = n === 0;
      line.querySelector(".down").disabled = n === all.length - 1;
    });
  }

  function send(line) {
    const now = places();
    if (now.every((place, n) => place === n)) return;
    say.textContent = `${data.lines[line.dataset.place]} is now number ${now.indexOf(Number(line.dataset.place)) + 1}.`;
    setTriggerValue("moved", { of: data.of, places: now });
  }

  function step(line, by, kind) {
    const other = by < 0 ? line.previousElementSibling : line.nextElementSibling;
    if (!other) return;
    if (by < 0) other.before(line);
    else other.after(line);
    number();
    order.jartest.focus = { says: data.lines[line.dataset.place], kind };
    send(line);
  }

  list.replaceChildren(...data.lines.map((says, place) => {
    const line = document.createElement("li");
    line.dataset.place = String(place);
    const grip = button("grip", "≡", `Drag ${says}; arrow keys move it`);
    const up = button("up", "▲", `${says}: earlier`), down = button("down", "▼", `${says}: later`);
    line.append(grip, document.createElement("b"), up, down);
    up.onclick = () => step(line, -1, "up");
    down.onclick = () => step(line, 1, "down");
    grip.onkeydown = (e) => {
      const by = { ArrowUp: -1, ArrowDown: 1 }[e.key];
      if (!by) return;
      e.preventDefault();
      step(line, by, "grip");
    };
    let held = false;
    grip.onpointerdown = (e) => {
      e.preventDefault();
      grip.focus({ preventScroll: true });
      grip.setPointerCapture(e.pointerId);
      held = true;
      line.classList.add("held");
    };
    grip.onpointermove = (e) => {
      if (!held) return;
      // The others make way; the line itself stays where it is in the page, or the browser lets go of it.
      const middle = (other) => { const box = other.getBoundingClientRect(); return box.top + box.height / 2; };
      let other;
      while ((other = line.nextElementSibling) && e.clientY > middle(other)) line.before(other);
      while ((other = line.previousElementSibling) && e.clientY < middle(other)) line.after(other);
      number();
    };
    grip.onpointerup = () => {
      if (!held) return;
      held = false;
      line.classList.remove("held");
      send(line);
    };
    grip.onpointercancel = () => {
      held = false;
      line.classList.remove("held");
      lines().sort((a, b) => a.dataset.place - b.dataset.place).forEach((one) => list.append(one));
      number();
    };
    return line;
  }));
  number();
  if (focus) {
    const at = data.lines.indexOf(focus.says);
    const line = list.children[at];
    const same = line?.querySelector(`.${focus.kind}`);
    (same?.disabled ? line.querySelector(".grip") : same)?.focus();
  }
}
