// A countdown to an absolute time, told by the server's clock: `now_ms` is the server's time when it sent
// `data`, and the difference to this device's clock is kept.  One message to the server when it runs out.
const sound = { context: null };

function beep() {
  if (!sound.context) return;
  for (const [i, pitch] of [880, 660, 880].entries()) {
    const tone = sound.context.createOscillator(), level = sound.context.createGain();
    const at = sound.context.currentTime + 0.35 * i;
    tone.frequency.value = pitch;
    level.gain.setValueAtTime(0.3, at);
    level.gain.exponentialRampToValueAtTime(0.001, at + 0.3);
    tone.connect(level).connect(sound.context.destination);
    tone.start(at);
    tone.stop(at + 0.3);
  }
}

function spell(ms) {
  const s = Math.max(0, Math.round(ms / 1000));
  const h = Math.floor(s / 3600), m = Math.floor((s % 3600) / 60);
  const two = (x) => String(x).padStart(2, "0");
  return h ? `${h}:${two(m)}:${two(s % 60)}` : `${m}:${two(s % 60)}`;
}

function spellRough(ms) {
  const minutes = Math.floor(ms / 60000);
  if (minutes < 1) return "";
  return minutes < 120 ? `, ${minutes} min ago` : `, ${Math.floor(minutes / 60)} h ago`;
}

export default function (component) {
  const { data, parentElement, setTriggerValue } = component;
  const box = parentElement.querySelector(".count");
  const big = box.querySelector(".big"), button = box.querySelector(".sound");
  if (box.sentAt !== data.now_ms) {
    box.sentAt = data.now_ms;
    box.offset = data.now_ms - Date.now();
  }
  box.classList.toggle("small", !!data.small);
  let last = { wall: Date.now(), steady: performance.now() };
  let wasAhead = Date.now() + box.offset < data.due_ms;
  const what = box.querySelector(".what");
  what.textContent = data.what;

  // After sleep this device's clock still tells the time and the steady one may not; after somebody set the
  // clock it is the other way round.  Either way the two part, and the server is asked what time it is.
  function clockWasSet() {
    const now = { wall: Date.now(), steady: performance.now() };
    const parted = Math.abs(now.wall - last.wall - (now.steady - last.steady)) > 2000;
    last = now;
    return parted;
  }

  function tick() {
    if (clockWasSet()) setTriggerValue("asked", Date.now());
    const left = data.due_ms - (Date.now() + box.offset);
    const late = data.late && left <= 0;
    box.classList.toggle("now", left <= 0 && !late);
    box.classList.toggle("late", late);
    const ago = left > 0 ? "" : spellRough(-left);
    what.textContent = data.what + (data.small ? ago : "");
    big.textContent = left > 0 ? spell(left) : `${late ? "LATE" : "DUE NOW"}${data.small ? "" : ago}`;
    if (left <= 0 && wasAhead) {
      wasAhead = false;
      beep();
      setTriggerValue("ran_out", data.due_ms);
    }
  }

  function showSound() {
    button.hidden = !data.offer_sound;
    button.textContent = sound.context ? "Sound is on" : "Sound is off: tap to hear when a look is due";
  }
  button.onclick = () => {
    if (sound.context) {
      sound.context.close();
      sound.context = null;
    } else {
      sound.context = new AudioContext();
      beep();
    }
    showSound();
  };

  showSound();
  tick();
  clearInterval(box.timer); // of an earlier call: new data does not unmount the page's piece
  box.timer = setInterval(tick, 500);
  return () => clearInterval(box.timer);
}
