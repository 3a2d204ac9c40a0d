// A photo that tells where it was tapped, as fractions from its top left corner, and shows the marks so far.
export default function (component) {
  const { data, parentElement, setTriggerValue } = component;
  const photo = parentElement.querySelector(".photo"), picture = photo.querySelector("img");
  if (picture.src !== data.src) picture.src = data.src;
  picture.alt = data.alt;
  photo.querySelectorAll("b").forEach((old) => old.remove());
  for (const mark of data.marks) {
    const dot = document.createElement("b");
    dot.textContent = String(mark.number);
    dot.style.left = `${100 * mark.across}%`;
    dot.style.top = `${100 * mark.down}%`;
    photo.append(dot);
  }
  picture.onclick = (e) => {
    const box = picture.getBoundingClientRect();
    const clamp = (x) => Math.min(Math.max(x, 0), 1);
    setTriggerValue("tapped", {
      across: clamp((e.clientX - box.left) / box.width),
      down: clamp((e.clientY - box.top) / box.height),
    });
  };
}
