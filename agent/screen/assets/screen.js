// The page shows what the stream tells. Texts, states and attributes are bound by key: data-t="key" is the text of an
// element, data-d="name:key" a data attribute, data-a="name:key" any other attribute. What the stream cannot tell
// (that it stopped) the page finds out by its own clock.
import { Trend } from './trend.js';

const body = document.body;
const pace = Number(body.dataset.pace) || 1;
const silent = JSON.parse(body.dataset.silent);
const ages = body.dataset.ages.split('|');
const byId = id => document.getElementById(id);

// What each key changes in the page.
const bound = new Map();
function bind(key, change) {
  if (!bound.has(key)) bound.set(key, []);
  bound.get(key).push(change);
}
for (const el of document.querySelectorAll('[data-t]')) bind(el.dataset.t, v => { if (el.textContent !== v) el.textContent = v; });
for (const [attribute, prefix] of [['data-d', 'data-'], ['data-a', '']]) {
  for (const el of document.querySelectorAll(`[${attribute}]`)) {
    for (const pair of el.getAttribute(attribute).split(',')) {
      const [name, key] = pair.split(':');
      bind(key, v => el.setAttribute(prefix + name, v));
    }
  }
}
bind('steps', list => byId('steps').replaceChildren(...list.map(text => {
  const li = document.createElement('li');
  li.textContent = text;
  return li;
})));

function show(fields) {
  for (const [key, v] of Object.entries(fields)) for (const change of bound.get(key) ?? []) change(v);
}

// The stream.
const quiet = 4000; // ms without a message, of which one comes every second, until nothing is known any more
let told = {};      // all fields as last told
let heard = performance.now(), last = { l: -1, a: -1 }, dead = false;
const trend = new Trend(byId('line'), byId('over'), byId('off'));
let source;

function listen() {
  source?.close();
  source = new EventSource('/events');
  source.onopen = () => trend.load();
  source.onmessage = e => {
    const m = JSON.parse(e.data);
    if (m.b && m.b !== body.dataset.boot) return location.reload();
    heard = performance.now();
    last = m;
    Object.assign(told, m.f);
    show(dead ? told : m.f ?? {});
    dead = false;
    for (const p of m.p ?? []) trend.add(p);
    if (m.p) trend.draw();
    tick();
  };
}

// The countdown and the age go on between messages at the pace of the unit.
function countdown(ms) {
  const s = Math.ceil(Math.max(ms, 0) / 1000), two = n => String(n).padStart(2, '0');
  return s >= 3600 ? `${Math.floor(s / 3600)}:${two(Math.floor(s / 60) % 60)}:${two(s % 60)}` : `${Math.floor(s / 60)}:${two(s % 60)}`;
}

function ageText(ms) {
  if (ms < 0) return ages[0];
  const s = ms / 1000;
  const [n, text] = s < 100 ? [s, ages[1]] : s < 6000 ? [s / 60, ages[2]] : s < 172800 ? [s / 3600, ages[3]] : [s / 86400, ages[4]];
  return text.replace('{n}', Math.floor(n));
}

function put(el, text) { if (el.textContent !== text) el.textContent = text; }

const left = byId('left');
function tick() {
  const gone = (performance.now() - heard) * pace;
  if (last.l >= 0) {
    const text = countdown(last.l - gone);
    if (left.textContent !== text) {
      const wide = String(Math.min(275, [...text].reduce((sum, c) => sum + (c === ':' ? 30 : 66), 0)));
      left.textContent = text;
      left.setAttribute('textLength', wide);
      left.parentNode.setAttribute('viewBox', `0 0 ${wide} 100`);
    }
  }
  put(byId('age'), ageText(last.a < 0 ? -1 : last.a + gone));
}

setInterval(() => {
  const silence = performance.now() - heard;
  if (silence > quiet && !dead) {
    dead = true;
    show({ ...silent, sentence: silent.sentence.replace('{since}', told.seen ?? body.dataset.seen ?? '?') });
  }
  // A connection that hangs without an error is given up.
  if (silence > 3 * quiet && Math.floor(silence / 250) % 40 === 0) listen();
  tick();
}, 250);

// The buttons.
const result = byId('result');
byId('acknowledge')?.addEventListener('click', async e => {
  const { verb, alarm } = e.currentTarget.dataset;
  if (!verb) return;
  let ok = false;
  try {
    ok = (await fetch('/' + verb, { method: 'POST', body: JSON.stringify({ alarm }), signal: AbortSignal.timeout(5000) })).ok;
  } catch { /* shown below */ }
  result.textContent = ok ? result.dataset.yes : result.dataset.no;
  setTimeout(() => { result.textContent = ''; }, 4000);
});

const look = byId('look'), root = document.documentElement;
const dark = matchMedia('(prefers-color-scheme: dark)');
const isNight = () => root.dataset.look === 'night' || (root.dataset.look === 'auto' && dark.matches);
const label = () => { look.textContent = isNight() ? look.dataset.day : look.dataset.night; };
look.addEventListener('click', () => {
  root.dataset.look = isNight() ? 'day' : 'night';
  document.cookie = `look=${root.dataset.look}; path=/; max-age=31536000; samesite=strict`;
  label();
});
dark.addEventListener('change', label);
label();
listen();
