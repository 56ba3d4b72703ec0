/* The Bench page: what the server says is shown at once, what is old is called old. */
import { BATH_LINES, Chart, stationLines } from "./chart.js";
import { Live } from "./live.js";

const SIGNS = { good: "✓", warn: "▲", bad: "✕", wait: "…", plain: "•" };
const STANDING = {
  running: ["good", "live"], starting: ["wait", "starting"], idle: ["plain", "idle"],
  ended: ["plain", "ended"], busy: ["warn", "busy"], stale: ["bad", "old data"],
  lost: ["bad", "lost"], refused: ["bad", "not started"],
};
const OLD = new Set(["stale", "lost", "ended"]);
const MOST_POINTS = 6000;
const FIGURES_MS = 500;

const root = document.getElementById("live");
if (root) start();

function start() {
  const at = (id) => document.getElementById(id);
  const charts = {
    bath: new Chart(at("chart-bath"), BATH_LINES, 2),
    lift: new Chart(at("chart-lift"), stationLines(), 1),
    current: new Chart(at("chart-current"), stationLines(), 0.1),
  };
  let record = empty();
  let lastS = null;
  let state = null;
  let linkUp = true;
  let shownS = 0;

  const live = new Live(root.dataset.bench, {
    begin(message) {
      record = message.history ? columns(message.history, message.state.run.begun_s) : empty();
      showState(message.state);
      draw();
      figures();
    },
    more(moments, all) {
      for (const one of moments) add(record, one);
      if (lastS !== null) trim(record, lastS);
      if (record.t.length > MOST_POINTS) live.look(lastS, across());
      if (!document.hidden) draw();
      if (all || performance.now() - shownS > FIGURES_MS) figures();
    },
    state: showState,
    link(up, silentS) {
      const note = at("connection");
      linkUp = up;
      note.hidden = up;
      if (!up) {
        note.textContent = `No word from the server for ${silentS.toFixed(0)} s: what is shown is old.`
          + " The run does not need this page. Look at the bench itself.";
      }
      old();
    },
  });
  live.look(lastS, across());

  at("windows").addEventListener("click", (event) => {
    const button = event.target.closest("button");
    if (!button) return;
    lastS = button.dataset.last ? Number(button.dataset.last) : null;
    for (const one of at("windows").children) one.setAttribute("aria-pressed", String(one === button));
    live.look(lastS, across());
  });

  function across() {
    return Math.max(100, Math.round(at("chart-bath").clientWidth * 0.75));
  }

  function draw() {
    const origin = record.begun;
    const hours = record.t.map((t) => t - origin);
    charts.bath.show([hours, record.setpoint, record.bath]);
    charts.lift.show([hours, ...record.lift]);
    charts.current.show([hours, ...record.current]);
  }

  function figures() {
    shownS = performance.now();
    put("bath", number(last(record.bath), 2));
    put("setpoint", number(last(record.setpoint), 2));
    for (const card of at("stations").children) {
      const n = Number(card.dataset.station) - 1;
      text(card.querySelector(".lift"), number(last(record.lift[n]), 2));
      text(card.querySelector(".current"), number(last(record.current[n]), 2));
    }
  }

  function showState(now) {
    const holder = state && state.holder ? state.holder.person : "";
    const standing = state && state.standing;
    state = now;
    const [kind, word] = STANDING[now.standing];
    chip(at("standing"), kind, word);
    put("words", now.words);
    list(at("lines"), now.lines, "p", (item, line) => { item.textContent = line; });
    at("lines").hidden = !now.lines.length;
    put("fresh", now.run && now.standing === "running" ? `Newest data ${now.age_s.toFixed(1)} s old.` : "");
    put("holder", now.holder ? now.holder.person + (now.holder.may_be_taken ? " (idle, may be taken)" : "") : "Nobody");
    progress(now.process);
    if (now.run) run(now.run);
    const acts = at("run-acts");
    if (acts) acts.hidden = now.standing !== "running" && now.standing !== "stale";
    old();
    const mine = now.holder ? now.holder.person : "";
    const other = (standing === "refused") !== (now.standing === "refused");
    if ((standing && other) || (standing && mine !== holder)) reload();
  }

  /** The buttons are the server's: they come anew when whose they are has changed. */
  function reload() {
    const typing = document.activeElement && /^(INPUT|SELECT|TEXTAREA)$/.test(document.activeElement.tagName);
    if (!typing) location.replace(`/bench?name=${encodeURIComponent(root.dataset.bench)}`);
  }

  function old() {
    root.classList.toggle("old", !linkUp || (state !== null && OLD.has(state.standing)));
    if (!linkUp) chip(at("standing"), "bad", "no connection");
    else if (state) chip(at("standing"), ...STANDING[state.standing]);
  }

  function progress(process) {
    put("phase", process && process.phase ? process.phase : "");
    at("progress").value = process && process.fraction ? process.fraction : 0;
    const left = process ? process.left_s : null;
    put("left", left === null || left === undefined ? "–" : `${hm(left)} h`);
    put("until", left ? untilText(left) : "");
  }

  function untilText(left) {
    const speed = Number(root.dataset.speed || 1);
    const end = new Date(Date.now() + (1000 * left) / speed);
    return `until about ${end.toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" })}`;
  }

  function run(one) {
    put("step", one.step || "–");
    put("shown", OLD.has(state.standing) ? "" : (one.shown || []).join(" · "));
    const trip = at("trip");
    trip.hidden = !one.trip;
    put("trip-what", one.trip ? `Tripped: ${one.trip.what}` : "");
    put("trip-remedy", one.trip ? `What to do: ${one.trip.remedy}` : "");
    put("run-title", `Run ${one.run_id}, ${one.batch} ${one.stage}, begun ${new Date(one.started).toLocaleString()}`);
    for (const card of at("stations").children) {
      const place = one.stations[Number(card.dataset.station) - 1];
      const role = place.role === "reference" ? " (reference)" : "";
      text(card.querySelector(".serial"), (place.serial || place.role) + role);
      text(card.querySelector(".flags"), place.flags.join(", "));
    }
    list(at("events"), [...one.events].reverse(), "li", (item, event) => {
      const when = document.createElement("span");
      when.className = "hint";
      when.textContent = `${hm(event.t_s - one.begun_s)} h `;
      const what = document.createElement("strong");
      what.textContent = `${event.kind} `;
      item.append(when, what, event.text);
    });
  }

  function put(id, words) { text(at(id), words); }
}

function text(element, words) {
  if (element.textContent !== words) element.textContent = words;
}

function chip(element, kind, word) {
  const key = `${kind} ${word}`;
  if (element.dataset.shown === key) return;
  element.dataset.shown = key;
  const outer = document.createElement("span");
  outer.className = `state ${kind}`;
  const sign = document.createElement("span");
  sign.setAttribute("aria-hidden", "true");
  sign.textContent = SIGNS[kind];
  outer.append(sign, ` ${word}`);
  element.replaceChildren(outer);
}

function list(element, things, tag, fill) {
  const key = JSON.stringify(things);
  if (element.dataset.shown === key) return;
  element.dataset.shown = key;
  element.replaceChildren(...things.map((thing) => {
    const item = document.createElement(tag);
    fill(item, thing);
    return item;
  }));
}

function hm(s) {
  const minutes = Math.max(0, Math.round(s / 60));
  return `${Math.floor(minutes / 60)}:${String(minutes % 60).padStart(2, "0")}`;
}

function number(value, decimals) {
  return value === null || value === undefined ? "–" : value.toFixed(decimals);
}

function last(column) {
  return column.length ? column[column.length - 1] : null;
}

function empty() {
  const six = () => Array.from({ length: 6 }, () => []);
  return { begun: 0, t: [], bath: [], setpoint: [], lift: six(), current: six() };
}

function columns(history, begun) {
  return {
    begun, t: history.t_s, bath: history.bath_c, setpoint: history.setpoint_c,
    lift: history.lift_mm, current: history.element_a,
  };
}

function add(record, one) {
  record.t.push(one.t_s);
  record.bath.push(one.bath_c);
  record.setpoint.push(one.setpoint_c);
  for (let n = 0; n < 6; n += 1) {
    record.lift[n].push(one.lift_mm[n]);
    record.current[n].push(one.element_a[n]);
  }
}

function trim(record, lastS) {
  const from = last(record.t) - lastS;
  let count = 0;
  while (count < record.t.length && record.t[count] < from) count += 1;
  if (count < 20) return;
  for (const column of [record.t, record.bath, record.setpoint, ...record.lift, ...record.current]) {
    column.splice(0, count);
  }
}
