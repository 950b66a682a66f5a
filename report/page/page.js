"use strict";
// Decisions on the work list and on the photos. Served by `coursegauge review`
// at http://127.0.0.1:PORT/SECRET/, each goes to the log at once; opened as a
// file, they stay in this browser and are offered as a download. Everything
// that is shown goes in as text, never as markup.
(() => {
const one = (s, e = document) => e.querySelector(s), all = (s, e = document) => [...e.querySelectorAll(s)];
const make = (tag, properties = {}, ...inside) => {
	const e = document.createElement(tag);
	for (const [k, v] of Object.entries(properties)) k in e ? e[k] = v : e.setAttribute(k, v);
	e.append(...inside);
	return e;
};
const drawn = (tag, attributes) => {
	const e = document.createElementNS("http://www.w3.org/2000/svg", tag);
	for (const [k, v] of Object.entries(attributes)) e.setAttribute(k, v);
	return e;
};
const served = location.protocol === "http:" && location.hostname === "127.0.0.1" && /^\/[0-9a-f]{32}\/$/.test(location.pathname);
const meta = one("meta[name=inspection]");
const labels = {wrong: "it is wrong", sound: "it is sound", unsure: "cannot tell", no_nail: "no nail here"};
const words = {wrong: "wrong", sound: "sound", unsure: "cannot tell", no_nail: "no nail", missed: "missed", complete: "complete"};

// What the browser keeps; a browser that keeps nothing throws, and that is told.
const shelf = {
	get: name => { try { return JSON.parse(localStorage.getItem("coursegauge " + name)); } catch { return null; } },
	put: (name, value) => { try { localStorage.setItem("coursegauge " + name, JSON.stringify(value)); return true; } catch { return false; } },
};
const ownName = "decisions " + meta.content + (served ? location.pathname : "");

// ---- decisions: the same rules as report/review.Fold ----

const records = new Map();  // by id
const byKey = new Map();    // photo/target: records
const pending = new Map();  // by id, not yet saved
let who = shelf.get("who") || "", count = 0;

const keyOf = d => d.photo + "/" + d.target;
function take(d, saved) {
	const known = records.has(d.id);
	records.set(d.id, d);
	if (saved) pending.delete(d.id);
	const list = byKey.get(keyOf(d)) || [];
	if (known) list[list.findIndex(x => x.id === d.id)] = d; else list.push(d);
	byKey.set(keyOf(d), list);
	return keyOf(d);
}
function answer(key) {
	const list = byKey.get(key) || [], followed = new Set(list.flatMap(d => (d.seen || []).filter(id => id !== d.id)));
	const standing = list.filter(d => !followed.has(d.id)).sort((a, b) => a.when < b.when ? -1 : a.when > b.when ? 1 : a.id < b.id ? -1 : 1);
	const said = standing.filter(d => d.what !== "open"), kinds = new Set(said.map(d => d.what));
	return {what: kinds.size > 1 ? "conflict" : said.length ? said.at(-1).what : "", by: said.at(-1) || standing.at(-1), said, standing};
}
const newID = () => [...crypto.getRandomValues(new Uint8Array(16))].map(b => b.toString(16).padStart(2, "0")).join("");
function now() {
	const d = new Date(), z = -d.getTimezoneOffset(), two = n => String(Math.trunc(Math.abs(n))).padStart(2, "0");
	const local = new Date(d.getTime() + z * 60000).toISOString().slice(0, -1);
	return local + (z < 0 ? "-" : "+") + two(z / 60) + ":" + two(z % 60);
}

// ---- the things to decide ----

const entries = all("article.entry"), photos = all("article.photo[data-size]");
const targets = new Map(); // by key
function addTarget(box, of, entry) {
	const t = {key: box.dataset.photo + "/" + of.target, photo: box.dataset.photo, file: box.dataset.file, px: null, entry, places: [], ...of};
	const known = targets.get(t.key);
	if (known) { known.view = known.view || t.view; known.entry = known.entry || entry; return known; }
	targets.set(t.key, t);
	return t;
}
entries.forEach((e, i) => {
	const t = all("figure[data-target]", e).map(f => addTarget(e, {target: f.dataset.target, view: f, px: f.dataset.px ? f.dataset.px.split(",").map(Number) : null}, e));
	e.number = i;
	e.targets = t;
});
photos.forEach(a => {
	a.whole = addTarget(a, {target: "photo"});
	a.heads = all("g.mark[data-head]", a).map(g => Object.assign(addTarget(a, {target: "head/" + g.dataset.head}), {mark: g, place: placeOf(g)}));
});
function placeOf(g) {
	const [x, y] = g.getAttribute("transform").match(/-?[\d.]+/g).map(Number);
	return [x, y];
}
const heads = [...targets.values()].filter(t => t.mark);

// decide keeps what one person says about each of the list and gives what stood
// before; without the person's name it asks for that, keeps nothing and gives null.
function decide(list, what, note) {
	if (!named()) return null;
	const before = list.map(t => ({t, what: answer(t.key).by?.what || "open", note: answer(t.key).by?.note}));
	for (const t of list) {
		const standing = answer(t.key).standing, d = {
			format: "coursegauge-decision/1", id: newID(), photo: t.photo, file: t.file, target: t.target, what, who: who || "", when: now(), tool: meta.dataset.tool,
		};
		if (t.px) d.px = t.px;
		if (note) d.note = note;
		if (standing.length) d.seen = standing.map(s => s.id);
		take(d);
		pending.set(d.id, d);
		show(t);
	}
	count_up();
	keep();
	return before;
}

// ---- saving ----

const state = make("p", {id: "state", role: "status"});
function tell(text, bad) {
	state.textContent = text;
	state.classList.toggle("bad", !!bad);
}
let busy = false;
function keep() {
	if (served) {
		shelf.put("pending " + ownName, [...pending.values()]);
		flush();
		return;
	}
	const safe = shelf.put(ownName, [...records.values()]);
	tell(safe ? "Kept in this browser. Download to pass on." : "Kept only until this page is closed. Download now.", !safe);
}
async function flush() {
	if (busy || !pending.size) return;
	busy = true;
	try {
		while (pending.size) {
			const batch = [...pending.values()].slice(0, 50);
			tell("Saving …");
			const r = await fetch("decisions", {method: "POST", headers: {"Content-Type": "application/json"}, body: JSON.stringify(batch)});
			if (r.status === 422 || r.status === 413) throw Object.assign(new Error(await r.text()), {refused: batch});
			if (!r.ok) throw new Error(await r.text());
			for (const d of (await r.json()).saved) show(targets.get(take(d, true)));
			shelf.put("pending " + ownName, [...pending.values()]);
		}
		tell("Saved.");
	} catch (e) {
		for (const d of e.refused || []) { drop(d); }
		tell("Not saved: " + (e.refused ? e.message : e instanceof TypeError ? "the server does not answer. Start review again, or download." : e.message), true);
		if (!e.refused) setTimeout(flush, 2000);
	}
	busy = false;
	count_up();
}
function drop(d) {
	pending.delete(d.id);
	records.delete(d.id);
	byKey.set(keyOf(d), byKey.get(keyOf(d)).filter(x => x.id !== d.id));
	show(targets.get(keyOf(d)));
}
async function listen() {
	if (document.visibilityState === "visible" || !count) try {
		const r = await fetch("decisions?after=" + count);
		if (!r.ok) throw new Error(await r.text());
		const l = await r.json();
		who = who || l.who;
		if (!name_field.value) name_field.value = who;
		if (l.count < count) { records.clear(); byKey.clear(); for (const t of targets.values()) show(t); count = 0; setTimeout(listen, 0); return; }
		count = l.count;
		for (const d of l.decisions) { const t = target(d); if (t) { take(d, true); show(t); } }
		if (l.said) warn.textContent = plain(l.said.join(" "));
		if (l.decisions.length) count_up();
		if (state.textContent === "") tell(`Ready.${keysOn && entries.length ? " " + keys.open + " goes to the first entry." : ""}`);
		if (lost) { lost = false; tell(pending.size ? "Saving …" : "Saved."); flush(); }
	} catch {
		if (!lost) tell(pending.size ? "Not saved: the server does not answer. Start review again, or download." : "The server is gone. What was shown as saved is safe; start review again.", true);
		lost = true;
	}
	setTimeout(listen, 1500);
}
let lost = false;
// target finds what a record is about; a place on a photo comes into being with it.
function target(d) {
	const t = targets.get(keyOf(d));
	if (t || !d.target.startsWith("place/")) return t;
	const a = photos.find(a => a.dataset.photo === d.photo);
	return a && addTarget(a, {target: d.target, on: a});
}
function download() {
	const lines = [...records.values()].map(d => JSON.stringify(d) + "\n").join("");
	const url = URL.createObjectURL(new Blob([lines], {type: "application/jsonl"}));
	make("a", {href: url, download: "decisions-" + now().slice(0, 16).replace(/\D/g, "") + ".jsonl"}).click();
	setTimeout(() => URL.revokeObjectURL(url), 10000);
	tell("Downloaded. Take it in with: coursegauge review --merge FILE DIR");
}

// ---- showing ----

// As report/escape.Text prints it: no character of a text turns the direction of
// what stands around it.
const plain = s => s.replace(/[\p{Cc}\p{Cf}\p{Zl}\p{Zp}\p{Default_Ignorable_Code_Point}]/gu, c => c === "\n" ? c : c.codePointAt(0) > 0xffff ? "\\U" + c.codePointAt(0).toString(16).toUpperCase().padStart(8, "0") : "\\u" + c.codePointAt(0).toString(16).toUpperCase().padStart(4, "0"));
const clock = when => when.slice(0, 16).replace("T", " ");
function saidBy(d) {
	const e = make("span", {}, words[d.what] || "undecided", ", ", make("bdi", {textContent: plain(d.who) || "no name"}), ", " + plain(clock(d.when)));
	if (d.note) e.append(": ", make("q", {}, make("bdi", {textContent: plain(d.note)})));
	return e;
}
function show(t) {
	if (!t) return;
	const a = answer(t.key);
	if (t.view) {
		t.line ||= t.view.appendChild(make("p", {className: "answer"}));
		t.line.replaceChildren();
		t.line.className = "answer " + a.what;
		if (a.what === "conflict") {
			t.line.append(make("strong", {textContent: "People disagree: "}));
			a.said.forEach((d, i) => t.line.append(i ? "; " : "", saidBy(d)));
			t.line.append(". Decide to settle it.");
		} else if (a.by && (a.what || a.by.note)) {
			t.line.append(make("strong", {textContent: a.what ? "Decided: " : "Note: "}), saidBy(a.by), pending.has(a.by.id) ? (served ? ". Not saved yet." : ".") : ". Saved.");
		}
		for (const b of t.buttons || []) b.setAttribute("aria-pressed", b.dataset.say === a.what);
	}
	if (t.mark) {
		t.mark.classList.toggle("struck", a.what === "no_nail");
		t.mark.querySelector("title").textContent = (t.words ||= t.mark.querySelector("title").textContent) + (a.what ? "; decided: " + (words[a.what] || a.what) : "");
	}
	if (t.on) showPlace(t, a.what === "missed");
	if (t.toggle) t.toggle.setAttribute("aria-pressed", a.what === "complete");
	if (t.entry) showEntry(t.entry);
}
function showEntry(e) {
	const said = new Set(e.targets.map(t => answer(t.key).what));
	e.answer = said.size === 1 ? [...said][0] : said.has("conflict") ? "conflict" : said.has("") ? "" : "mixed";
	e.dataset.answer = e.answer;
	for (const b of e.buttons || []) b.setAttribute("aria-pressed", b.dataset.say === e.answer);
}
function showPlace(t, there) {
	t.cross?.remove();
	if (!there) return;
	const [x, y] = t.target.split("/").slice(1).map(Number), r = t.on.dataset.size.split(" ")[0] / 90;
	t.cross = drawn("g", {class: "mark missed", transform: `translate(${x + .5} ${y + .5})`});
	const path = `M${-r} 0H${r}M0 ${-r}V${r}`, words = drawn("title", {});
	words.textContent = "missed: a head that was not found, marked by a person";
	t.cross.append(words, drawn("path", {class: "halo", d: path}), drawn("path", {class: "shape missed", d: path}));
	one("svg.over", t.on).append(t.cross);
}

const progress = make("p", {id: "progress", role: "status"}), warn = make("p", {id: "warn", role: "status"});
function count_up() {
	const done = entries.filter(e => e.answer && e.answer !== "conflict"), tally = {};
	for (const e of entries) tally[e.answer] = (tally[e.answer] || 0) + 1;
	const parts = Object.entries({wrong: "wrong", sound: "sound", unsure: "cannot tell", no_nail: "no nail", mixed: "mixed", conflict: "people disagree"}).filter(([k]) => tally[k]).map(([k, w]) => tally[k] + " " + w);
	progress.textContent = `${done.length} of ${entries.length} decided` + (parts.length ? ": " + parts.join(", ") : "");
	after();
	fetch_button.hidden = served && !pending.size;
}
// after says what the decisions leave of the count of suspects: Wilson, or for
// none the exact bound, as in report/proportion.
function after() {
	const p = one("#after"), s = one(".summary"), wrong = heads.filter(t => answer(t.key).what === "wrong").length;
	const left = heads.filter(t => /suspect/.test(t.mark.getAttribute("class")) && !answer(t.key).what).length;
	const missed = [...targets.values()].filter(t => t.on && answer(t.key).what === "missed").length;
	const n = +s.dataset.fasteners - heads.filter(t => answer(t.key).what === "no_nail").length + missed;
	p.hidden = !heads.some(t => answer(t.key).what) && !missed;
	const share = v => (100 * v).toFixed(1) + " %", z = 1.959963984540054, f = wrong / n, d = 1 + z * z / n;
	const mid = (f + z * z / (2 * n)) / d, half = z / d * Math.sqrt(f * (1 - f) / n + z * z / (4 * n * n));
	p.textContent = `By your decisions: ${wrong} wrong of ${n}` + (n < 1 ? "." : wrong ? ` (${share(f)}; 95 % interval ${share(Math.max(0, mid - half))} to ${share(Math.min(1, mid + half))}).` : `; with 95 % confidence under ${share(1 - Math.pow(.05, 1 / n))}.`)
		+ (left ? ` ${left} suspect not decided yet.` : "");
}

// ---- moving about ----

let at = -1;
function go(i, quiet) {
	if (!entries.length) return;
	i = Math.max(0, Math.min(entries.length - 1, i));
	entries[at]?.classList.remove("current");
	at = i;
	const e = entries[at];
	e.classList.add("current");
	if (!quiet) {
		e.scrollIntoView({block: "start"});
		e.focus({preventScroll: true});
	}
	for (const next of entries.slice(at + 1, at + 3)) for (const img of all("img", next)) img.decode?.().catch(() => {});
}
function nextOpen() {
	for (let k = 1; k <= entries.length; k++) {
		const i = (at + k + entries.length) % entries.length;
		if (!entries[i].answer || entries[i].answer === "conflict") return go(i);
	}
	tell((served && !pending.size ? "Saved. " : "") + "Every entry is decided.");
}
const undone = [];
// did keeps what stood before, to be undone; it tells whether anything was decided.
function did(at, before) {
	if (before) undone.push({at, before});
	return !!before;
}
function decideEntry(what) {
	if (at < 0) return go(0);
	if (did(at, decide(entries[at].targets.filter(t => what !== "no_nail" || t.target.startsWith("head/")), what))) nextOpen();
}
function undo() {
	const last = undone.pop();
	if (last) {
		for (const b of last.before) decide([b.t], b.what, b.note);
		if (last.at >= 0) go(last.at);
	} else if (at >= 0) {
		const list = entries[at].targets.filter(t => answer(t.key).what);
		if (list.length) decide(list, "open");
	}
}
document.addEventListener("focusin", f => {
	const e = f.target.closest?.("article.entry");
	if (e && e.number !== at) go(e.number, true);
});

// ---- notes ----

function note() {
	if (!named()) return;
	if (at < 0) go(0);
	const e = entries[at];
	if (one(".note", e)) return one(".note textarea", e).focus();
	const old = answer(e.targets[0].key).by?.note || "";
	const text = make("textarea", {rows: 3, maxLength: 2500, value: old, id: e.id + "-n"});
	const close = () => { box.remove(); e.focus(); };
	const save = () => {
		if (named()) did(e.number, e.targets.flatMap(t => decide([t], answer(t.key).by?.what && answer(t.key).what !== "conflict" ? answer(t.key).by.what : "open", text.value.trim())));
		close();
	};
	const box = make("div", {className: "note"}, make("label", {htmlFor: text.id, textContent: "Note"}), text,
		make("button", {type: "button", textContent: "Keep the note", onclick: save}), make("button", {type: "button", textContent: "Leave it", onclick: close}));
	text.onkeydown = k => { if (k.key === "Escape") close(); if (k.key === "Enter" && (k.ctrlKey || k.metaKey)) save(); };
	one(".decide", e).after(box);
	text.focus();
}

// ---- marking on the photos ----

let marking = null;
function mark(a) {
	if (marking) {
		one(".stage", marking.a).classList.remove("marking");
		marking.a.marker.setAttribute("aria-pressed", "false");
		marking.hair.remove();
	}
	if (!a || marking?.a === a) { marking = null; return; }
	const stage = one(".stage", a), [w, h] = a.dataset.size.split(" ").map(Number), r = w / 60;
	const hair = drawn("g", {class: "hair"});
	hair.append(drawn("path", {class: "halo", d: `M${-r} 0H${r}M0 ${-r}V${r}`}), drawn("path", {class: "line", d: `M${-r} 0H${r}M0 ${-r}V${r}`}));
	marking = {a, hair, x: w / 2, y: h / 2, w, h};
	one("svg.over", a).append(hair);
	move(0, 0);
	stage.classList.add("marking");
	a.marker.setAttribute("aria-pressed", "true");
	stage.focus();
	tell("Marking: click a head that was missed, or a mark that is no nail. Or move with the arrow keys (with Shift in small steps), Enter marks, Escape ends.");
}
function move(dx, dy) {
	marking.x = Math.max(0, Math.min(marking.w, marking.x + dx));
	marking.y = Math.max(0, Math.min(marking.h, marking.y + dy));
	marking.hair.setAttribute("transform", `translate(${marking.x} ${marking.y})`);
}
function markAt(x, y) {
	const a = marking.a, reach = marking.w / 110, near = (px, py) => Math.hypot(px - x, py - y) < reach;
	const head = a.heads.find(t => near(...t.place));
	const old = [...targets.values()].find(t => t.on === a && answer(t.key).what === "missed" && near(...t.target.split("/").slice(1).map(v => +v + .5)));
	if (old) did(-1, decide([old], "open"));
	else if (head) did(-1, decide([head], answer(head.key).what === "no_nail" ? "open" : "no_nail"));
	else did(-1, decide([addTarget(a, {target: `place/${(x - .5).toFixed(1)}/${(y - .5).toFixed(1)}`, on: a})], "missed"));
}
document.addEventListener("click", c => {
	const over = marking && c.target.closest?.("svg.over");
	if (!over || !marking.a.contains(over)) return;
	c.preventDefault();
	const p = new DOMPoint(c.clientX, c.clientY).matrixTransform(over.getScreenCTM().inverse());
	markAt(p.x, p.y);
});
document.addEventListener("keydown", k => {
	if (!marking || !k.target.closest?.(".stage.marking")) return;
	const step = marking.w * (k.shiftKey ? .001 : .01), way = {ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1]}[k.key];
	if (way) move(way[0] * step, way[1] * step);
	else if (k.key === "Enter") markAt(marking.x, marking.y);
	else if (k.key === "Escape") { const b = marking.a.marker; mark(null); b.focus(); }
	else return;
	k.preventDefault();
	k.stopImmediatePropagation();
});

// ---- keys ----

const actions = {
	wrong: ["w", "wrong: a rule is broken here", () => decideEntry("wrong")],
	sound: ["s", "sound: a false alarm", () => decideEntry("sound")],
	unsure: ["c", "cannot tell", () => decideEntry("unsure")],
	no_nail: ["x", "this is no nail", () => decideEntry("no_nail")],
	undo: ["u", "undo", undo],
	next: ["j", "next entry", () => go(at + 1)],
	previous: ["k", "previous entry", () => go(at - 1)],
	open: ["o", "next undecided entry", nextOpen],
	note: ["n", "note", note],
	zoom: ["z", "larger, and back", () => { if (at < 0) go(0); entries[at].classList.toggle("zoomed"); entries[at].scrollIntoView({block: "start"}); }],
	overlay: ["h", "hide or show the drawing", () => document.body.classList.toggle("bare")],
	help: ["?", "this list", () => help.open ? help.close() : help.showModal()],
};
const kept = shelf.get("keys") || {};
let keysOn = kept.on !== false;
const keys = Object.fromEntries(Object.entries(actions).map(([name, a]) => [name, kept.keys?.[name] || a[0]]));
document.addEventListener("keydown", k => {
	if (!keysOn || k.ctrlKey || k.altKey || k.metaKey || k.repeat || help.open || k.target.closest?.("input, textarea, select")) return;
	const name = Object.keys(keys).find(n => keys[n] === k.key || keys[n] === k.key.toLowerCase());
	if (!name) return;
	k.preventDefault();
	actions[name][2]();
});
function keepKeys() {
	shelf.put("keys", {on: keysOn, keys});
	label(document);
}
// label puts the key in force on each button.
function label(inside) {
	for (const b of all("[data-key]", inside)) {
		one("kbd", b)?.remove();
		b.removeAttribute("aria-keyshortcuts");
		if (!keysOn) continue;
		b.append(make("kbd", {"aria-hidden": "true", textContent: keys[b.dataset.key]}));
		b.setAttribute("aria-keyshortcuts", keys[b.dataset.key]);
	}
}
const help = make("dialog", {id: "help", "aria-labelledby": "help-t"}, make("h2", {id: "help-t", textContent: "Keys"}));
{
	const rows = make("tbody");
	for (const [name, [, text]] of Object.entries(actions)) {
		const field = make("input", {type: "text", value: keys[name], size: 3, maxLength: 1, "aria-label": "key for " + text});
		field.oninput = () => {
			const other = Object.keys(keys).find(n => n !== name && keys[n] === field.value);
			clash.textContent = other ? `“${field.value}” is taken by “${actions[other][1]}”.` : "";
			if (field.value && !other) { keys[name] = field.value; keepKeys(); }
		};
		field.onblur = () => { field.value = keys[name]; };
		rows.append(make("tr", {}, make("th", {scope: "row", textContent: text}), make("td", {}, field)));
	}
	const clash = make("p", {role: "status"});
	const on = make("input", {type: "checkbox", id: "keys-on", checked: keysOn, onchange: () => { keysOn = on.checked; keepKeys(); }});
	help.append(make("table", {}, make("thead", {}, make("tr", {}, make("th", {scope: "col", textContent: "What"}), make("th", {scope: "col", textContent: "Key"}))), rows), clash,
		make("p", {}, make("label", {}, on, " single keys are on")),
		make("button", {type: "button", textContent: "Close", onclick: () => help.close()}));
}

// ---- building the page's controls ----

function button(text, action, properties = {}) {
	return make("button", {type: "button", onclick: action, ...properties}, text);
}
// One box of buttons, made once and copied: there may be thousands of entries.
const says = ["wrong", "sound", "unsure", "no_nail"];
const pattern = make("div", {className: "decide", role: "group"},
	...says.map(what => make("button", {type: "button", className: "say " + what, "data-say": what, "data-key": what, "aria-pressed": "false"}, labels[what])),
	make("button", {type: "button", "data-say": "note", "data-key": "note"}, "note"), make("button", {type: "button", "data-say": "undo", "data-key": "undo"}, "undo"));
const single = make("div", {className: "decide small", role: "group"}, "This one alone: ",
	...says.map(what => make("button", {type: "button", className: "say small", "data-say": what, "aria-pressed": "false"}, words[what])));
label(pattern);
for (const e of entries) {
	const box = pattern.cloneNode(true);
	box.setAttribute("aria-label", "decide: " + one("h3", e).textContent);
	if (!e.targets.some(t => t.target.startsWith("head/"))) one(".no_nail", box).remove();
	e.buttons = all(".say", box);
	one(".why", e).prepend(box);
	if (e.targets.length > 1) for (const t of e.targets) {
		const alone = single.cloneNode(true);
		alone.setAttribute("aria-label", "decide " + t.target.replace("/", " ") + " alone");
		t.buttons = all(".say", alone);
		t.buttons.forEach(b => { b.alone = t; });
		t.view.append(alone);
	}
}
document.addEventListener("click", c => {
	const b = c.target.closest?.("[data-say]");
	if (!b) return;
	const e = b.closest("article.entry"), what = b.dataset.say;
	go(e.number, true);
	if (b.alone) did(e.number, decide([b.alone], what));
	else if (what === "note") note();
	else if (what === "undo") undo();
	else decideEntry(what);
});
for (const a of photos) {
	a.marker = button("mark what was missed, or is no nail", () => mark(a), {"aria-pressed": "false"});
	a.whole.toggle = button("every head here is found or marked", () => did(-1, decide([a.whole], answer(a.whole.key).what === "complete" ? "open" : "complete")), {"aria-pressed": "false"});
	one(".tools", a).append(a.marker, a.whole.toggle);
}
if (served) for (const link of all("a.full")) link.href = "photo/" + link.closest("article").dataset.photo;
for (const link of all("a.full")) link.target = "_blank";

const name_field = make("input", {id: "who", value: who, maxLength: 200, autocomplete: "name", size: 12, placeholder: "your name", onchange: () => {
	who = name_field.value.trim();
	shelf.put("who", who);
	if (who && asked) tell("Thank you, " + plain(who) + ". Decide now.");
	asked = asked && !who;
}});
name_field.onkeydown = k => { if (k.key === "Enter") { name_field.blur(); entries[at]?.focus({preventScroll: true}); } };
// named tells whether a decision would have somebody's name, and asks for one.
let asked = false;
function named() {
	if (who) return true;
	asked = true;
	tell("Nothing was kept yet: first say who you are, then decide again.", true);
	one("details.more", desk).open = true;
	name_field.focus();
	return false;
}
const fetch_button = button("download decisions", download);
const desk = make("div", {id: "desk", role: "region", "aria-label": "deciding"},
	make("div", {className: "say-so"}, progress, state, warn),
	make("div", {className: "do-it"},
		button("previous", () => go(at - 1), {"data-key": "previous"}), button("next", () => go(at + 1), {"data-key": "next"}), button("next undecided", nextOpen, {"data-key": "open"}),
		button("keys", actions.help[2], {"data-key": "help"}),
		make("details", {className: "more", open: innerWidth > 900}, make("summary", {textContent: "more"}), make("div", {className: "do-it"},
			make("label", {htmlFor: "who", textContent: "you are "}), name_field, fetch_button,
			...(served ? [make("a", {href: "mend?lang=en", target: "_blank", textContent: "mend list"}), make("a", {href: "mend?lang=es", target: "_blank", textContent: "en español", lang: "es"}), make("a", {href: "fasteners.csv", textContent: "spreadsheet"})] : [])))));
label(desk);
document.body.append(desk, help);
document.body.classList.add("deciding");

for (const d of shelf.get((served ? "pending " : "") + ownName) || []) {
	const t = target(d);
	if (!t) continue;
	take(d, !served);
	if (served) pending.set(d.id, d);
	show(t);
}
for (const e of entries) e.answer ??= "";
count_up();
if (served) { listen(); flush(); } else if (entries.length) tell(records.size ? "Decisions kept in this browser are shown." : "Decisions stay in this browser; download to pass them on.");
window.coursegauge = {answer, take}; // for whoever looks with the browser's tools
})();
