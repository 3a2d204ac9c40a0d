// A bar a rule: where the figure lies, how far its doubt reaches, where a pass ends and where a fail begins.
export default function (component) {
  const { data, parentElement } = component;
  const list = parentElement.querySelector(".bars");
  const part = (kind, from, to, into) => {
    const one = document.createElement("i");
    one.className = kind;
    one.style.left = `${100 * from}%`;
    if (to !== undefined) one.style.width = `${100 * Math.max(0, Math.min(1, to) - from)}%`;
    into.append(one);
  };
  const text = (tag, kind, said, into) => {
    const one = document.createElement(tag);
    one.className = kind;
    one.textContent = said;
    into.append(one);
  };
  list.replaceChildren(...data.bars.map((bar) => {
    const line = document.createElement("li"), track = document.createElement("div");
    text("b", "name", `${bar.shape} ${bar.name}`, line);
    track.className = "track";
    track.setAttribute("aria-hidden", "true");
    part("fine", 0, bar.pass_max, track);
    part("bad", bar.fail_min, 1, track);
    part("doubt", bar.low, bar.high, track);
    part("value", bar.at, undefined, track);
    line.append(track);
    text("span", "said", `${bar.said}: ${bar.word} (${bar.limits})`, line);
    return line;
  }));
}
