// Photos that wait on this phone until the shop is in reach: each is kept in the browser's own store first, and taken
// out of it only when the shop has said that it is on its disk.  The shop knows a photo by its bytes, so that one
// whose answer was lost on the way is kept once.
const root = document.querySelector("[data-link]");
const link = root.dataset.link;
const list = document.querySelector("#waiting");
const told = document.querySelector("#told");
const nameField = document.querySelector("#by");
const AGAIN_MS = 10_000;

const opened = new Promise((done, failed) => {
  const asked = indexedDB.open("jartest", 1);
  asked.onupgradeneeded = () => asked.result.createObjectStore("photos", { keyPath: "id", autoIncrement: true });
  asked.onsuccess = () => done(asked.result);
  asked.onerror = () => failed(asked.error);
});

async function kept(mode, act) {
  const db = await opened;
  return new Promise((done, failed) => {
    const turn = db.transaction("photos", mode, { durability: "strict" });
    const asked = act(turn.objectStore("photos"));
    turn.oncomplete = () => done(asked.result);
    turn.onerror = turn.onabort = () => failed(turn.error);
  });
}

const all = async () => (await kept("readonly", (s) => s.getAll())).filter((p) => p.link === link);

async function show() {
  const photos = await all();
  list.replaceChildren(
    ...photos.map((p) => {
      const line = document.createElement("li");
      const at = new Date(p.takenMs).toLocaleString([], { weekday: "short", hour: "2-digit", minute: "2-digit" });
      line.textContent = `${at}: ${p.refused ? `not taken by the shop: ${p.refused}` : "waits on this phone"}`;
      return line;
    }),
  );
  document.querySelector("#count").textContent = String(photos.length);
}

async function send(photo) {
  const form = new FormData();
  form.set("by", photo.by);
  form.set("slot", "");
  // Both by this phone's clock: how long ago it was taken, whatever that clock says.
  form.set("ago_s", String(Math.max(0, (Date.now() - photo.takenMs) / 1000)));
  form.set("photo", new File([photo.bytes], photo.name, { type: photo.type }));
  return fetch(link, { method: "POST", body: form, headers: { Accept: "application/json" } });
}

let busy = false;
async function sendAll() {
  if (busy) return;
  busy = true;
  try {
    for (const photo of await all()) {
      if (photo.refused) continue;
      let answer;
      try {
        answer = await send(photo);
      } catch {
        return; // no line; it waits
      }
      const said = await answer.json().catch(() => ({}));
      if (answer.status === 201) {
        await kept("readwrite", (s) => s.delete(photo.id));
        told.textContent = said.kept ?? "";
      } else if ([404, 410, 422].includes(answer.status)) {
        await kept("readwrite", (s) => s.put({ ...photo, refused: said.says ?? `${answer.status}` }));
      } else {
        return; // busy, or in trouble: later
      }
      await show();
    }
  } finally {
    busy = false;
    await show();
  }
}

document.querySelector("#p").addEventListener("change", async (event) => {
  const [file] = event.target.files;
  const takenMs = Date.now();
  if (!file) return;
  if (!nameField.value.trim()) {
    told.textContent = "Write your name first; then take the photo again.";
    event.target.value = "";
    return;
  }
  const bytes = await file.arrayBuffer();
  await kept("readwrite", (s) =>
    s.add({ link, by: nameField.value.trim(), takenMs, name: file.name || "photo.jpg", type: file.type, bytes }),
  );
  event.target.value = "";
  told.textContent = "Kept on this phone.";
  await show();
  await sendAll();
});

nameField.value = localStorage.getItem("jartest-name") ?? nameField.value;
nameField.addEventListener("input", () => localStorage.setItem("jartest-name", nameField.value));
window.addEventListener("online", sendAll);
setInterval(sendAll, AGAIN_MS);
navigator.storage?.persist?.();
if (navigator.serviceWorker) {
  navigator.serviceWorker
    .register("worker.js")
    .then(() => navigator.serviceWorker.ready)
    .then(() => caches.open("jartest-1")) // the worker's shelf: this very page is to be on it
    .then((shelf) => navigator.onLine && shelf.add(location.href))
    .then(() => document.body.setAttribute("data-ready", ""))
    .catch(() => {});
} else {
  document.querySelector("#unkept").hidden = false;
}
show().then(sendAll);
