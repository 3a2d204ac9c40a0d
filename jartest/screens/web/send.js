// Photos on their way to the test.  Each one picked goes into a line that outlives every redraw of the page, is
// sent to our own server over plain HTTP, and stays in the list until the server has said that it is on disk.
// The line of the screen itself (its websocket) has no part in it: it may be down, or busy, meanwhile.
const PAUSES_S = [2, 5, 10, 30]; // before the 1st, 2nd ... further try; the last one repeats
const SHAPE = { waits: "○", sending: "▶", kept: "✓", refused: "✖" };
const lines = (window.jartestPhotos ??= {}); // test id -> its line

const mine = (item) => ["waits", "sending"].includes(item.state);
window.onbeforeunload = (e) => {
  if (Object.values(lines).some((line) => line.items.some(mine))) e.preventDefault();
};

function lineOf(data) {
  const line = (lines[data.test] ??= { items: [], busy: false, tries: 0, timer: 0, again: "", draw() {}, tell() {} });
  line.path = data.path;
  line.slot = data.slot;
  return line;
}

function put(line, files) {
  const several = files.length > 1;
  const inOrder = [...files].sort((a, b) => a.lastModified - b.lastModified);
  for (const file of inOrder) {
    // Of several, each goes to the look that its own time belongs to; a single one to the look that is chosen.
    const slot = several ? "" : line.again || line.slot;
    // Read at once: a card that is pulled out, or a file that is tidied away, must not take the photo along.
    const bytes = file.arrayBuffer().then((b) => new Blob([b]), () => null);
    line.items.push({ bytes, name: file.name || "photo", slot, again: !several && !!line.again, state: "waits", says: "", warnings: [] });
  }
  line.again = "";
  while (line.items.length > 30 && !mine(line.items[0])) line.items.shift();
  next(line);
}

async function next(line) {
  clearTimeout(line.timer);
  const item = line.items.find(mine);
  if (line.busy || !item) return line.draw();
  if (!line.path) {
    item.says = "Write your name above; the photo waits here until then.";
    return line.draw();
  }
  line.busy = true;
  item.state = "sending";
  item.says = "";
  line.draw();
  const pause = await send(line, item);
  line.busy = false;
  if (pause) line.timer = setTimeout(() => next(line), pause * 1000);
  else next(line);
  line.draw();
}

// Sends one photo; the seconds until it is to be tried again, or 0 where it came to an end.
async function send(line, item) {
  const bytes = await item.bytes;
  if (!bytes) {
    Object.assign(item, { state: "refused", says: "Not kept. This device could not read it; take or choose it again." });
    return 0;
  }
  try {
    const form = new FormData();
    form.append("slot", item.slot);
    if (item.again) form.append("again", "1");
    form.append("photo", bytes, item.name);
    const answer = await fetch(line.path, { method: "POST", body: form });
    const said = await answer.json().catch(() => ({}));
    if (answer.status === 201 && said.look) {
      Object.assign(item, { state: "kept", bytes: null, says: `${said.kept} ${said.says}`, warnings: said.warnings, retake: said.again, slot: said.slot });
      line.tries = 0;
      line.tell(said.look);
      return 0;
    }
    if (said.says && answer.status < 500 && ![408, 429].includes(answer.status)) {
      Object.assign(item, { state: "refused", bytes: null, says: `Not kept. ${said.says}` });
      line.tries = 0;
      return 0;
    }
    item.says = `Not kept yet: ${said.says || `the server answered ${answer.status}.`}`;
  } catch (gone) {
    item.says = "Not kept yet: the server does not answer.";
  }
  const pause = PAUSES_S[Math.min(line.tries++, PAUSES_S.length - 1)];
  item.state = "waits";
  item.says += ` The photo waits here and is sent again in ${pause} s.`;
  return pause;
}

function element(name, text, parent) {
  const e = document.createElement(name);
  e.textContent = text;
  parent.append(e);
  return e;
}

function drawItem(line, item, list, input) {
  const li = element("li", "", list);
  li.className = item.state;
  element("b", `${SHAPE[item.state]} ${item.name}: ${item.state === "waits" ? "waits" : item.state === "sending" ? "being sent …" : item.state === "kept" ? "kept" : "not kept"}`, li);
  if (item.says) element("span", item.says, li);
  for (const warning of item.warnings) element("b", warning, li);
  if (item.retake) {
    element("b", `Take it again. ${item.retake}`, li);
    element("button", "Take it again", li).onclick = () => { line.again = item.slot; input.click(); };
  }
  if (item.state === "waits" && line.timer && line.path) element("button", "Send it now", li).onclick = () => next(line);
}

export default function (component) {
  const { data, parentElement, setTriggerValue } = component;
  const find = (selector) => parentElement.querySelector(selector);
  const line = lineOf(data), input = find(".photos"), pick = find(".pick"), cam = find(".cam"), video = find("video");
  input.multiple = matchMedia("(pointer: fine)").matches; // a phone takes one at a time, and keeps its camera so
  find(".main").textContent = data.label;
  pick.classList.toggle("aside", !data.main);
  find(".hint").textContent = input.multiple && data.main ? "kept and measured at once; several go by their own time" : "";
  line.draw = () => {
    const list = find(".sent");
    list.replaceChildren();
    for (const item of [...line.items].reverse().slice(0, 12)) drawItem(line, item, list, input);
  };
  line.tell = (look) => setTriggerValue("kept", look);
  input.onchange = () => { put(line, [...input.files]); input.value = ""; };
  input.oncancel = () => { line.again = ""; };
  pick.ondragover = (e) => { e.preventDefault(); pick.classList.add("over"); };
  pick.ondragleave = () => pick.classList.remove("over");
  pick.ondrop = (e) => { e.preventDefault(); pick.classList.remove("over"); put(line, [...e.dataTransfer.files]); };

  const close = () => {
    for (const track of video.srcObject?.getTracks() ?? []) track.stop();
    video.srcObject = null;
    cam.hidden = true;
  };
  // Browsers have no camera on http, save on localhost; a phone takes photos with its own.
  find(".webcam").hidden = !navigator.mediaDevices || !input.multiple;
  find(".webcam").onclick = async () => {
    if (video.srcObject) return close();
    try {
      video.srcObject = await navigator.mediaDevices.getUserMedia({ video: { width: 1920, height: 1080 } });
      cam.hidden = false;
    } catch (refused) {
      find(".hint").textContent = `No webcam: ${refused.message}`;
    }
  };
  find(".snap").onclick = () => {
    const canvas = document.createElement("canvas");
    canvas.width = video.videoWidth;
    canvas.height = video.videoHeight;
    canvas.getContext("2d").drawImage(video, 0, 0);
    canvas.toBlob((blob) => blob && put(line, [new File([blob], "webcam.jpg", { type: blob.type })]), "image/jpeg", 0.95);
  };
  next(line);
  return close;
}
