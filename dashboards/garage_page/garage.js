// Findings and photographs are kept in the phone's own database at once, and sent when there is a network:
// each under a key of its own, so that what is sent twice is taken in once.
"use strict";

const sheetName = location.hash.slice(1);
const statusLine = document.getElementById("status");
let sheet = null;
let sending = false;
let openArea;

const notSeen = check => check.state === "not seen";

const opened = new Promise((done, failed) => {
  const asked = indexedDB.open("garage", 1);
  asked.onupgradeneeded = () => {
    asked.result.createObjectStore("sheets", {keyPath: "name"});
    asked.result.createObjectStore("waiting", {keyPath: "key"});
  };
  asked.onsuccess = () => done(asked.result);
  asked.onerror = () => failed(asked.error);
});

async function inStore(store, mode, act) {
  const base = await opened;
  return new Promise((done, failed) => {
    const turn = base.transaction(store, mode);
    const asked = act(turn.objectStore(store));
    turn.oncomplete = () => done(asked.result);
    turn.onerror = () => failed(turn.error);
  });
}

const keepSheet = () => inStore("sheets", "readwrite", store => store.put(sheet));
const waiting = () => inStore("waiting", "readonly", store => store.getAll());

async function start() {
  if ("serviceWorker" in navigator) navigator.serviceWorker.register("/garage/worker.js", {scope: "/garage/"});
  if (navigator.storage && navigator.storage.persist) navigator.storage.persist();
  sheet = await inStore("sheets", "readonly", store => store.get(sheetName)) || null;
  if ((await waiting()).length === 0 || sheet === null) await fetchSheet();
  if (sheet === null) {
    document.getElementById("car").textContent =
      "This sheet is not on this phone yet. Open it once with a network; after that it works without.";
    return;
  }
  document.getElementById("back").href = `/inspect?sheet=${encodeURIComponent(sheetName)}`;
  show();
  await send();
}

async function fetchSheet() {
  try {
    const answer = await fetch(`/api/v1/kept-inspections/${encodeURIComponent(sheetName)}`);
    if (answer.ok) { sheet = await answer.json(); await keepSheet(); }
  } catch { /* there is no network: what the phone has is shown */ }
}

function part(kind, text, to, more = {}) {
  const made = document.createElement(kind);
  made.textContent = text;
  Object.assign(made, more);
  to.append(made);
  return made;
}

function show() {
  document.getElementById("car").textContent = sheet.car;
  const cautions = document.getElementById("cautions");
  cautions.replaceChildren();
  for (const caution of sheet.cautions) part("p", caution, cautions, {className: "quiet"});
  const short = document.getElementById("round").value === "short";
  const all = document.getElementById("checks");
  all.replaceChildren();
  const areas = sheet.areas
    .map(({area, checks, drawing}) => ({area, drawing, asked: checks.filter(check => !short || check.short)}))
    .filter(({asked}) => asked.length);
  openArea ??= (areas.find(({asked}) => asked.some(notSeen)) ?? areas[0])?.area;
  for (const {area, drawing, asked} of areas) {
    const folded = part("details", "", all, {open: area === openArea});
    const head = part("summary", "", folded);
    part("h2", area[0].toUpperCase() + area.slice(1), head);
    const seen = part("span", "", head, {className: "quiet"});
    const tellSeen = () => {
      seen.textContent = `${asked.filter(check => !notSeen(check)).length} of ${asked.length} seen`;
    };
    tellSeen();
    folded.addEventListener("toggle", () => { if (folded.open) openArea = area; });
    folded.addEventListener("change", tellSeen);
    part("div", "", folded).innerHTML = drawing || "";
    const sound = part("button", "All sound here", folded, {type: "button"});
    sound.addEventListener("click", () => allSound(asked));
    for (const check of asked) showCheck(check, folded);
  }
}

function showCheck(check, to) {
  const box = part("fieldset", "", to);
  part("legend", check.title, box);
  part("p", check.where, box, {className: "quiet"});
  if (check.caution) part("p", check.caution, box);
  const states = part("div", "", box, {className: "states"});
  for (const [state, words] of Object.entries(check.states)) {
    const label = part("label", "", states);
    const radio = part("input", "", label, {type: "radio", name: check.id, value: state});
    radio.checked = check.state === state;
    radio.addEventListener("change", () => { check.state = state; keepFinding(check); });
    label.append(words);
  }
  const more = part("details", "", box);
  part("summary", "How to look, a note, a photograph", more);
  part("p", `${check.act} ${check.bad_sign}`, more, {className: "quiet"});
  const noteLabel = part("label", "Note", more, {className: "note"});
  const note = part("textarea", "", noteLabel, {rows: 1, value: check.note, maxLength: 2000});
  note.addEventListener("change", () => { check.note = note.value; keepFinding(check); });
  const photoLabel = part("label", "Photograph", more, {className: "file"});
  const photo = part("input", "", photoLabel, {type: "file", accept: "image/*"});
  photo.addEventListener("change", () => { if (photo.files[0]) keepPhoto(check, photo.files[0]); });
}

async function keepFinding(check) {
  await keepSheet();
  await queue({kind: "findings", finding: {
    check: check.id, state: check.state, note: check.note, seen_on: new Date().toISOString().slice(0, 10),
  }});
}

async function allSound(asked) {
  const left = asked.filter(notSeen);
  for (const check of left) check.state = "sound";
  show();
  for (const check of left) await keepFinding(check);
}

async function keepPhoto(check, file) {
  await queue({kind: "photos", check: check.id, content: file});
}

async function queue(act) {
  const known = await waiting();
  await inStore("waiting", "readwrite", store =>
    store.put({...act, key: crypto.randomUUID(), sheet: sheetName, place: known.length ? known.at(-1).place + 1 : Date.now()}));
  await tell();
  await send();
}

async function tell() {
  const left = (await waiting()).length;
  statusLine.textContent = left === 0
    ? "All that you found is with the market."
    : `${left} ${left === 1 ? "finding is" : "findings are"} kept on this phone, and will be sent when there is a network.`;
}

async function send() {
  if (sending) return;
  sending = true;
  let refused = "";
  try {
    for (const act of (await waiting()).sort((one, other) => one.place - other.place)) {
      const where = act.kind === "photos"
        ? `inspection-photos?sheet=${act.sheet}&check=${encodeURIComponent(act.check)}`
        : `kept-inspections/${act.sheet}/findings`;
      const body = act.kind === "photos" ? act.content : JSON.stringify([act.finding]);
      const answer = await fetch(`/api/v1/${where}`, {
        method: "POST", body, headers: {
          "Idempotency-Key": act.key,
          "Content-Type": act.kind === "photos" ? "application/octet-stream" : "application/json",
        },
      });
      if (answer.ok) await inStore("waiting", "readwrite", store => store.delete(act.key));
      else refused = (await answer.json()).detail;
    }
    await tell();
    if (refused) statusLine.textContent = `Not taken in: ${refused} It stays on this phone.`;
  } catch {
    await tell();
  } finally {
    sending = false;
  }
}

document.getElementById("round").addEventListener("change", show);
addEventListener("online", send);
setInterval(send, 5000);
start();
