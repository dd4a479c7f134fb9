// Shows what the server says. All words and numbers are made there; this page knows only how old
// they are.
import { Curve } from "./curve.js";
import { Guide } from "./guide.js";

const OLD_READING_MS = 3000;
const NO_CONTACT_MS = 4000;
const GRADES = { fine: "○ fine", doubt: "▲ doubt", spoilt: "■ SPOILT" };

const at = (id) => document.getElementById(id);
const curve = new Curve(at("curve"));
let about = {}, source = null, heardAt = performance.now(), readAt = -Infinity, old = false;

function write(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

// For who listens and does not look: a change is told, and not each second's number.
const announced = {};
function announce(topic, state, words) {
  if (announced[topic] === state) return;
  announced[topic] = state;
  write(at("told"), words);
}

function make(name, text, kind) {
  const element = document.createElement(name);
  if (text) element.textContent = text;
  if (kind) element.className = kind;
  return element;
}

function tell({ name, grade, words, action }) {
  const item = make("li");
  const head = make("p");
  head.append(make("span", GRADES[grade], "grade"), " ", make("strong", name));
  item.append(head, make("p", words));
  if (action) item.append(make("p", `Do this: ${action}`));
  return item;
}

const topics = {
  about(said) {
    about = said;
    write(at("title"), said.title);
    document.title = `pullcurve: ${said.title}`;
    write(at("flow-unit"), said.flow_unit);
    write(at("flow-state"), said.flow_state);
    write(at("table-unit"), said.flow_unit);
    curve.setPoints(curve.points, said.flow_unit);
    if (said.cut) guide.leave();  // who watches a cut asks for it
    at("make-shift").hidden = at("save-shift").hidden = !said.cut;
  },
  reading(said) {
    readAt = performance.now();
    write(at("flow"), said.flow ?? "–");
    write(at("speed"), said.speed ?? "–");
    curve.setNow(said.speed_value, said.flow_value);
  },
  state(said) {
    old = said.old;
    write(at("since"), said.elapsed);
    at("unwritten").hidden = !said.unwritten;
    write(at("unwritten"), said.unwritten ? "NOT RECORDED. The numbers below are measured, but not kept." : "");
    write(at("sentence"), said.sentence);
    announce("state", said.state, said.sentence);
  },
  checks(said) {
    const fine = said.filter(({ grade }) => grade === "fine");
    at("checks").replaceChildren(...said.filter(({ grade }) => grade !== "fine").map(tell));
    at("fine").replaceChildren(...fine.map(tell));
    const checks = said.length === 1 ? "check is" : "checks are";
    write(at("fine-count"), `○ ${fine.length} of ${said.length} ${checks} fine`);
  },
  alarms(said) {
    showAlarms(said);
  },
  curve(said) {
    curve.setPoints(said.points, about.flow_unit ?? "");
    write(at("curve-caption"), said.caption);
    at("points").replaceChildren(...said.points.map((point) => {
      const row = make("tr");
      const flow = point.flow_text ?? `not stated: ${point.withheld}`;
      row.append(make("td", point.name), make("td", point.speed_text), make("td", flow));
      return row;
    }));
  },
};

const guide = new Guide(at("guide"), at("guide-back"), send, showReport);
topics.guide = (said) => {
  guide.show(said);
  if (!guide.away) announce("guide", said.step + said.title, `${said.title}. ${said.do}`);
};

let past = [];
at("all-seen").addEventListener("click", () => past.forEach(see));

function see({ key }) {
  send("/press", { button: "seen", key });
}

// Each alarm is said once by a screen reader, so what stands already is left alone.
function showAlarms(alarms) {
  const box = at("alarms");
  const wanted = new Map(alarms.map((alarm) => [alarm.key, alarm]));
  for (const shown of [...box.children]) if (!wanted.has(shown.dataset.key)) shown.remove();
  let ahead = null;
  for (const alarm of alarms) {
    let shown = [...box.children].find(({ dataset }) => dataset.key === alarm.key);
    if (!shown) box.insertBefore(shown = makeAlarm(alarm), ahead ? ahead.nextSibling : box.firstChild);
    ahead = shown;
    write(shown.querySelector("h2"), `■ ${alarm.title}${alarm.ended && `: ${alarm.ended}`}`);
    write(shown.querySelector("p"), alarm.what);
    write(shown.querySelector(".since"), alarm.since);
    const button = shown.querySelector("button");
    button.hidden = alarm.seen;
    shown.classList.toggle("seen", alarm.seen);
    shown.classList.toggle("over", alarm.ended === "over");
  }
  past = alarms.filter(({ ended, seen }) => ended && !seen);
  at("all-seen").hidden = past.length < 2;
  write(at("all-seen"), `Seen: all ${past.length} that have ended`);
  siren.wanted = alarms.some(({ seen }) => !seen);
}

function makeAlarm({ key, actions, caution }) {
  const shown = make("div", "", key.startsWith("check ") ? "alarm of-check" : "alarm");
  shown.dataset.key = key;
  const button = make("button", "Seen");
  button.type = "button";
  button.addEventListener("click", () => see({ key }));
  const list = make("ul");
  list.append(...actions.map((action) => make("li", action)));
  shown.append(make("h2"), make("p"), make("p", "", "since"), list);
  if (caution) shown.append(make("p", `Caution. ${caution}`, "caution"));
  shown.append(button);
  return shown;
}

// A sound needs one tap first; not every phone can shake.
const siren = { context: null, wanted: false };
at("sound").addEventListener("click", () => {
  const on = !siren.context;
  if (on) siren.context = new AudioContext();
  else siren.context.close().then(() => { siren.context = null; });
  at("sound").setAttribute("aria-pressed", String(on));
  write(at("sound"), on ? "Alarms sound on this device: silence it" : "Let alarms sound on this device");
  if (on) beep(siren.context, 1);
});

function beep(context, times) {
  for (let i = 0; i < times; i++) {
    const tone = context.createOscillator();
    tone.type = "square";
    tone.frequency.value = i % 2 ? 660 : 880;
    tone.connect(context.destination);
    tone.start(context.currentTime + 0.35 * i);
    tone.stop(context.currentTime + 0.35 * i + 0.25);
  }
}

setInterval(() => {
  if (!siren.wanted || !siren.context) return;
  beep(siren.context, 4);
  navigator.vibrate?.([300, 150, 300, 150, 300]);
}, 3000);

function listen() {
  source?.close();
  source = new EventSource("/events");
  for (const [topic, take] of Object.entries(topics)) {
    source.addEventListener(topic, (event) => {
      heardAt = performance.now();
      take(JSON.parse(event.data));
      showAge();
    });
  }
  source.onerror = () => {
    if (source.readyState === EventSource.CLOSED) askWhy();
  };
}

// The stream was refused, and does not try again by itself: a stale token, most of all.
let refusal = "";
async function askWhy() {
  try {
    const answer = await fetch("/page.js", { cache: "no-store" });
    refusal = answer.status === 403
      ? "This page's link is no longer good: scan the code that the laptop shows now." : "";
  } catch {
    refusal = "";
  }
  setTimeout(listen, 2000);
}

function showAge() {
  const now = performance.now();
  const deaf = now - heardAt > NO_CONTACT_MS;
  document.body.classList.toggle("stale", deaf || old || now - readAt > OLD_READING_MS);
  const contact = at("contact");
  contact.hidden = !deaf;
  if (deaf) {
    const seconds = Math.round((now - heardAt) / 1000);
    write(contact, refusal || `No contact with the laptop for ${seconds} s. The numbers below are `
      + "old. Is this phone still on its network, and does the watch still run?");
  } else {
    refusal = "";
  }
}
setInterval(showAge, 500);

// A phone that slept has missed the end of its stream; performance.now may have stood still.
document.addEventListener("visibilitychange", () => {
  if (document.visibilityState !== "visible") return;
  listen();
  keepAwake();
});
addEventListener("online", listen);

// Browsers have it for pages of their own computer and over https; some refuse when power is short.
async function keepAwake() {
  const told = at("awake");
  try {
    const lock = await navigator.wakeLock.request("screen");
    told.hidden = true;
    lock.onrelease = () => { told.hidden = document.visibilityState !== "visible"; };
  } catch {
    told.hidden = false;
  }
}

async function send(path, body) {
  try {
    const answer = await fetch(path, { method: "POST", body: JSON.stringify(body) });
    const text = await answer.text();
    try {
      return { ok: answer.ok, sentence: JSON.parse(text).sentence };
    } catch {
      return { ok: false, sentence: text };
    }
  } catch {
    return { ok: false, sentence: "The laptop did not answer: try again." };
  }
}

at("note").addEventListener("submit", async (event) => {
  event.preventDefault();
  const field = at("note-text");
  const { ok, sentence } = await send("/note", { text: field.value });
  write(at("note-answer"), sentence);
  if (ok) field.value = "";
});

async function showReport(goThere, address = "/report") {
  const frame = at("report");
  write(at("report-answer"), "The report is being made: some seconds.");
  const answer = await fetch(address).catch(() => null);
  if (!answer?.ok) {
    const why = answer && await answer.json().catch(() => null);
    write(at("report-answer"), why?.sentence ?? "The laptop did not answer: try again.");
    return;
  }
  write(at("report-answer"), "");
  frame.src = address;
  frame.hidden = false;
  frame.onload = () => {
    frame.style.height = `${frame.contentDocument.documentElement.scrollHeight + 40}px`;
    if (goThere) frame.scrollIntoView();
  };
}
at("make-report").addEventListener("click", () => showReport(true));
at("make-shift").addEventListener("click", () => showReport(true, "/report?of=shift"));

const night = at("night");
function setNight(on) {
  document.documentElement.classList.toggle("night", on);
  night.setAttribute("aria-pressed", String(on));
  write(night, on ? "Day: black on white" : "Night: white on black");
  try { localStorage.setItem("night", on ? "1" : ""); } catch { /* a private window */ }
}
night.addEventListener("click", () => setNight(!document.documentElement.classList.contains("night")));
try { setNight(Boolean(localStorage.getItem("night"))); } catch { /* a private window */ }

listen();
keepAwake();
