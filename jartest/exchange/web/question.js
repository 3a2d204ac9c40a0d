"use strict";
// Takes a second opinion down and gives it back as a file; asks nothing of any server.
(() => {
  const block = document.getElementById("question"), place = document.getElementById("answer");
  const asked = JSON.parse(block.textContent), subtle = globalThis.crypto?.subtle;
  const WORDS = [
    ["pass", "● PASS", "stays mixed, or re-mixes fully with ordinary stirring"],
    ["watch", "◐ WATCH", "only with care: keep it stirred, use it soon, or try it another way"],
    ["fail", "✖ FAIL", "do not put this mixture into a tank"],
  ];
  const BEFORE = "jartest answer 1\n"; // signing.py says the same
  const MOST = { marks: 100, words: 200, reason: 2000, name: 80 };
  const utf8 = (text) => new TextEncoder().encode(text);

  // ---------------------------------------------------------------- small things
  const make = (tag, of = {}, ...inside) => {
    const el = Object.assign(document.createElement(tag), of);
    el.append(...inside);
    return el;
  };
  const base64 = (bytes) => {
    let said = "";
    for (let i = 0; i < bytes.length; i += 0x8000) said += String.fromCharCode(...bytes.subarray(i, i + 0x8000));
    return btoa(said);
  };
  const url64 = (bytes) => base64(bytes).replaceAll("+", "-").replaceAll("/", "_").replace(/=+$/, "");
  const from64 = (text) => Uint8Array.from(atob(text.replaceAll("-", "+").replaceAll("_", "/")), (c) => c.charCodeAt(0));
  const hex = (bytes) => Array.from(bytes, (b) => b.toString(16).padStart(2, "0")).join("");
  const digest = async (text) => hex(new Uint8Array(await subtle.digest("SHA-256", utf8(text))));
  const freshId = () => hex(crypto.getRandomValues(new Uint8Array(16)));
  const now = () => `${new Date().toISOString().slice(0, -1)}000+00:00`;
  // Records take no HTML: a space after each < that a page would take for the start of a tag.
  const words = (text, most) => {
    const sound = (text.toWellFormed ? text.toWellFormed() : text).replaceAll("\0", "").trim();
    return sound.slice(0, most).replace(/<(?=[A-Za-z/!?])/g, "< ");
  };
  const save = (text, name) => {
    const link = make("a", { href: URL.createObjectURL(new Blob([text], { type: "text/plain" })), download: name });
    document.body.append(link);
    link.click();
    link.remove();
    setTimeout(() => URL.revokeObjectURL(link.href), 60000);
  };

  // ------------------------------------------------------- is it what was sent
  const isWhole = async () => {
    if (!subtle) return null; // not every browser lets a file work out digests
    const main = document.querySelector("main");
    const sources = Array.from(main.querySelectorAll("img"), (i) => i.getAttribute("src"));
    return (
      (await digest(block.textContent)) === block.dataset.sha256 &&
      (await digest(`${main.textContent}\0${sources.join("\n")}`)) === asked.page_sha256
    );
  };

  // --------------------------------------------------------- photos: zoom, marks
  const marks = [], atMarks = [];
  const markList = make("div");
  const drawMarks = () => {
    document.querySelectorAll(".on b").forEach((old) => old.remove());
    markList.replaceChildren();
    marks.forEach((mark, i) => {
      const dot = make("b", { textContent: String(i + 1) });
      dot.style.left = `${100 * mark.across_fraction}%`;
      dot.style.top = `${100 * mark.down_fraction}%`;
      mark.on.append(dot);
      const said = make("input", { type: "text", maxLength: MOST.words, value: mark.words, placeholder: "What is there?" });
      said.setAttribute("aria-label", `Mark ${i + 1}`);
      said.oninput = () => { mark.words = said.value; };
      const gone = make("button", { type: "button", textContent: "Remove" });
      gone.setAttribute("aria-label", `Remove mark ${i + 1}`);
      gone.onclick = () => { marks.splice(i, 1); drawMarks(); };
      markList.append(make("div", { className: "mark" }, make("strong", { textContent: `${i + 1}` }), said, gone));
    });
    atMarks.forEach((see) => see());
    markHint.textContent = marks.length ? "Say what each mark shows:" : "No marks yet. To point at something, tap it on a photo above.";
  };
  const markHint = make("p", { className: "small" });
  const setUpPhoto = (figure) => {
    const on = figure.querySelector(".on"), picture = on.querySelector("img");
    on.classList.add("marking");
    let zoom = 1, whole = 0;
    const bigger = make("button", { type: "button", textContent: "Larger" });
    const smaller = make("button", { type: "button", textContent: "Smaller", disabled: true });
    const undo = make("button", { type: "button", textContent: "Undo mark", disabled: true });
    const frame = figure.querySelector(".frame");
    const show = (next) => {
      const x = (frame.scrollLeft + frame.clientWidth / 2) / on.offsetWidth, y = (frame.scrollTop + frame.clientHeight / 2) / on.offsetHeight;
      if (zoom === 1) whole = on.offsetWidth;
      zoom = Math.min(Math.max(next, 1), 8);
      on.classList.toggle("zoomed", zoom > 1);
      on.style.width = zoom > 1 ? `${whole * zoom}px` : "";
      frame.scrollTo(x * on.offsetWidth - frame.clientWidth / 2, y * on.offsetHeight - frame.clientHeight / 2);
      smaller.disabled = zoom === 1;
      bigger.disabled = zoom === 8;
    };
    bigger.onclick = () => show(zoom * 2);
    smaller.onclick = () => show(zoom / 2);
    picture.addEventListener("click", (e) => {
      if (marks.length >= MOST.marks) return;
      const box = picture.getBoundingClientRect(), within = (x) => Math.round(1e6 * Math.min(Math.max(x, 0), 1)) / 1e6;
      marks.push({
        look_id: figure.dataset.look,
        across_fraction: within((e.clientX - box.left) / box.width),
        down_fraction: within((e.clientY - box.top) / box.height),
        words: "",
        on,
      });
      drawMarks();
    });
    undo.onclick = () => {
      const last = marks.findLastIndex((m) => m.on === on);
      if (last >= 0) marks.splice(last, 1);
      drawMarks();
    };
    atMarks.push(() => { undo.disabled = !marks.some((m) => m.on === on); });
    figure.append(make("div", { className: "row" }, bigger, smaller, undo), make("p", { className: "small", textContent: "Tap a place on the photo to mark it." }));
  };

  // -------------------------------------------------------------------- signing
  let key = null; // { name, public, private }
  const canSign = async () => {
    try {
      await subtle.generateKey({ name: "Ed25519" }, false, ["sign"]);
      return true;
    } catch {
      return false;
    }
  };
  const takeKey = async (text) => {
    const said = JSON.parse(text);
    if (said.format !== "jartest signing key" || typeof said.name !== "string") throw new Error("no key");
    const opened = await subtle.importKey("pkcs8", from64(said.private), { name: "Ed25519" }, false, ["sign"]);
    key = { name: said.name, public: said.public, private: opened };
  };
  const makeKey = async (name) => {
    const pair = await subtle.generateKey({ name: "Ed25519" }, true, ["sign", "verify"]);
    const out = async (kind, of) => url64(new Uint8Array(await subtle.exportKey(kind, of)));
    const file = { format: "jartest signing key", version: 1, name, public: await out("raw", pair.publicKey), private: await out("pkcs8", pair.privateKey) };
    save(JSON.stringify(file, null, 1), "my-signing-key.txt");
    await takeKey(JSON.stringify(file));
  };
  const signingPart = (name, complain) => {
    const told = make("p", { className: "small" });
    told.setAttribute("role", "status");
    const line = make("textarea", { readOnly: true, className: "text", rows: 3, hidden: true });
    line.setAttribute("aria-label", "Your key's line, to send once");
    const say = (fresh) => {
      name.value = key.name;
      name.readOnly = true;
      told.textContent = `Your answer will be signed as ${key.name}.` + (fresh
        ? " Keep the file my-signing-key.txt for next time, and give it to nobody. Send the line below once to whoever asks you, so that they know your signature."
        : " Whoever asks you needs your key's line once:");
      line.value = `jartest key of ${key.name.replaceAll(":", " ")}: ${key.public}`;
      line.hidden = false;
    };
    const input = make("input", { type: "file" });
    input.onchange = async () => {
      try {
        await takeKey(await input.files[0].text());
        say(false);
        complain("");
      } catch {
        complain("That file is no signing key; choose the file my-signing-key.txt that you kept.");
      }
    };
    const fresh = make("button", { type: "button", textContent: "Make me a key" });
    fresh.onclick = async () => {
      const who = words(name.value, MOST.name);
      if (!who) {
        complain("Write your name first; the key is made for it.");
        name.focus();
        return;
      }
      await makeKey(who);
      say(true);
      complain("");
    };
    return make("details", {},
      make("summary", { textContent: "Sign it, so that nobody can answer in your name" }),
      make("p", { className: "small", textContent: "Without a signature your name is shown as “written in the file”. The key is a file that stays with you; load it only into a question that you expected." }),
      make("div", { className: "row" }, make("label", { className: "file" }, "Use my key file", input), fresh), told, line);
  };

  // ------------------------------------------------------------------ the answer
  const answerText = async (said) => {
    const text = JSON.stringify({
      format: "jartest parcel", version: 1, kind: "answer", id: freshId(), made_at: said.at, question_id: asked.id,
      question_sha256: block.dataset.sha256, test_id: asked.case.test.id, said: [said], parts: [],
    });
    const signature = key ? url64(new Uint8Array(await subtle.sign({ name: "Ed25519" }, key.private, utf8(BEFORE + text)))) : "";
    const body = { format: "jartest answer", version: 1, said: text, key: key ? key.public : "", signature };
    return `jartest-answer:${base64(utf8(JSON.stringify(body)))}.\n`;
  };
  const showAnswer = (box, text, said) => {
    const name = `answer-${asked.id.slice(0, 8)}.txt`;
    const shape = WORDS.find(([w]) => w === said.word)[1];
    const file = new File([text], name, { type: "text/plain" });
    const told = make("p", { className: "small" });
    told.setAttribute("role", "status");
    const buttons = [];
    if (navigator.canShare?.({ files: [file] })) {
      const share = make("button", { type: "button", className: "main", textContent: "Send it" });
      share.onclick = () => navigator.share({ files: [file] }).then(() => { told.textContent = "Handed over."; }, () => { told.textContent = "Not sent. Save the file instead."; });
      buttons.push(share);
    }
    const keep = make("button", { type: "button", className: buttons.length ? "" : "main", textContent: "Save the answer file" });
    keep.onclick = () => { save(text, name); told.textContent = `Saved as ${name}. Send that file back to ${asked.asked_by || "whoever asked you"}.`; };
    const area = make("textarea", { readOnly: true, className: "text", rows: 5, value: text });
    area.setAttribute("aria-label", "The answer as text");
    const copy = make("button", { type: "button", textContent: "Copy as text" });
    copy.onclick = async () => {
      try {
        await navigator.clipboard.writeText(text);
        told.textContent = "Copied. Paste it into a message.";
      } catch {
        area.closest("details").open = true;
        area.select();
        told.textContent = "Copy the text that is marked below.";
      }
    };
    buttons.push(keep, copy);
    box.replaceChildren(make("div", { className: "good" },
      make("h2", { textContent: "Your answer is ready, and not sent yet" }),
      make("p", { className: "words", textContent: `${shape} · ${said.by}: “${said.reason}”` + said.marks.map((m, i) => `\nMark ${i + 1}: ${m.words || "no words"}`).join("") }),
      make("p", { className: "small", textContent: key ? `Signed as ${key.name}.` : "Not signed: your name is shown as written in the file." }),
      make("p", { textContent: `Send it back to ${asked.asked_by || "whoever asked you"}, the way this question came to you:` }),
      make("div", { className: "row" }, ...buttons), told,
      make("details", {}, make("summary", { textContent: "The answer as text" }), area)));
    box.scrollIntoView({ block: "start" });
  };

  const form = (signs) => {
    const bad = make("p", { className: "bad" }), done = make("div");
    bad.setAttribute("role", "alert");
    const complain = (text) => { bad.textContent = text; };
    const name = make("input", { type: "text", id: "name", maxLength: MOST.name, autocomplete: "name" });
    const reason = make("textarea", { id: "reason", maxLength: MOST.reason });
    const choices = WORDS.map(([word, says, more]) => make("label", { className: "word" }, make("input", { type: "radio", name: "word", value: word }),
      make("span", {}, make("strong", { textContent: says }), make("span", { textContent: more }))));
    const saw = make("input", { type: "checkbox", id: "saw" });
    const ready = make("button", { type: "button", className: "main", textContent: "Make my answer" });
    ready.onclick = async () => {
      const by = words(name.value, MOST.name), why = words(reason.value, MOST.reason);
      const word = choices.map((c) => c.firstChild).find((c) => c.checked)?.value;
      const missing = !word ? ["Choose pass, watch or fail.", choices[0].firstChild] : !why ? ["Write one sentence why: a verdict alone is little help.", reason] : !by ? ["Write your name.", name] : null;
      complain(missing ? missing[0] : "");
      if (missing) return missing[1].focus();
      const said = { id: freshId(), at: now(), by, word, reason: why, saw_machine: saw.checked, marks: marks.map(({ on, ...m }) => ({ ...m, words: words(m.words, MOST.words) })) };
      showAnswer(done, await answerText(said), said);
    };
    const label = (text, of) => make("label", { className: "field", htmlFor: of.id, textContent: text });
    place.append(make("h2", { textContent: "Your answer" }),
      make("fieldset", {}, make("legend", { textContent: "Your verdict" }), ...choices),
      label("Why, in a sentence", reason), reason, markHint, markList, label("Your name", name), name,
      make("label", { className: "tick" }, saw, "I had seen somebody’s verdict on this jar before"),
      signs ? signingPart(name, complain) : make("p", { className: "small", textContent: "This browser cannot sign: your name is shown as written in the file." }),
      bad, ready, done);
    // An answer that is ready holds what stood there then: whatever is changed after, it must be made again.
    place.addEventListener("input", (e) => { if (!done.contains(e.target)) done.replaceChildren(); });
    atMarks.push(() => done.replaceChildren());
  };

  // A phone puts pages away while another app is open: what was written so far comes back with the page.
  const DRAFT = `jartest-draft-${asked.id}`;
  const keepDraft = () => {
    const texts = Array.from(document.querySelectorAll("#name:not([readonly]), #reason"), (f) => [f.id, f.value]);
    const draft = {
      texts, word: place.querySelector("[name=word]:checked")?.value, saw: place.querySelector("#saw").checked,
      marks: marks.map(({ on, ...m }) => m),
    };
    try { sessionStorage.setItem(DRAFT, JSON.stringify(draft)); } catch { /* this browser keeps nothing */ }
  };
  const bringDraft = () => {
    try {
      const draft = JSON.parse(sessionStorage.getItem(DRAFT));
      if (!draft) return;
      for (const [id, value] of draft.texts) document.getElementById(id).value = value;
      place.querySelector("#saw").checked = draft.saw;
      const word = Array.from(place.querySelectorAll("[name=word]")).find((c) => c.value === draft.word);
      if (word) word.checked = true;
      for (const m of draft.marks) {
        const figure = Array.from(document.querySelectorAll("figure")).find((f) => f.dataset.look === m.look_id);
        if (figure) marks.push({ ...m, on: figure.querySelector(".on") });
      }
    } catch { /* nothing that can be used */ }
  };

  const start = async () => {
    document.getElementById("unscripted").remove();
    if ((await isWhole()) === false) {
      place.append(make("p", { className: "bad", textContent: "This file was changed on its way: what you see is not what was sent. Do not answer it; ask for it again." }));
      return;
    }
    form(await canSign());
    document.querySelectorAll("figure").forEach(setUpPhoto);
    bringDraft();
    drawMarks();
    addEventListener("pagehide", keepDraft);
    document.addEventListener("visibilitychange", () => document.hidden && keepDraft());
  };
  start();
})();
