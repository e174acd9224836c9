'use strict';
// Plays a lesson page. What is data stays data: text goes into the page as text, sound is decoded
// from what the page holds, nothing is fetched. `lesson` at the end is for tests and the curious.
(() => {
const $ = (id) => document.getElementById(id);
const lesson = JSON.parse($('lesson').textContent);
const { rate, lead, parts, speeds } = lesson;

// What the player has chosen.
const chosen = { part: 0, speed: Math.max(0, speeds.length - 1), voice: 'both', bar: null, click: false, count: false };
// What is sounding: the source, when its round began, and which stretch of the part it goes round.
let playing = null;
let context = null;
// Counts requests to play, so that a late answer to an old one is dropped.
let asked = 0;

const part = () => parts[chosen.part];
const percent = (i) => `${Math.round(speeds[i] * 1000) / 10} %`;
const say = (text) => { $('status').textContent = text; };
const reduced = matchMedia('(prefers-reduced-motion: reduce)');

// ---- sound

function audio() {
  context ??= new AudioContext({ sampleRate: rate, latencyHint: 'interactive' });
  return context;
}

const decoded = new Map();

// A part at a speed, decoded once: { buffer, skip }; lead and loop follow the frames to skip.
function sound(index, voice, speed) {
  const [id, frames, skip] = parts[index].sounds[voice][speed];
  if (!decoded.has(id)) {
    const text = atob($(id).textContent);
    const bytes = new Uint8Array(text.length);
    for (let i = 0; i < text.length; i += 1) bytes[i] = text.charCodeAt(i);
    // Decoded at the sound's own rate, whatever the device's is.
    const work = new OfflineAudioContext(1, 1, rate).decodeAudioData(bytes.buffer)
      // Some browsers leave out the codec's run-in and some do not: the length tells.
      .then((buffer) => ({ buffer, skip: buffer.length >= frames + skip / 2 ? skip : 0 }));
    work.catch(() => decoded.delete(id));
    decoded.set(id, work);
  }
  return decoded.get(id);
}

// The stretch of a part that is looped, in seconds of the recording.
function stretch(index, bar) {
  const { bars, length } = parts[index];
  if (bar === null) return [0, length];
  return [bars[bar][1], bar + 1 < bars.length ? bars[bar + 1][1] : length];
}

// A buffer that goes round without a gap: its end fades into what leads up to its beginning.
async function loop(index, voice, speed, bar) {
  const { buffer, skip } = await sound(index, voice, speed);
  const [from, to] = stretch(index, bar);
  const slow = speeds[speed];
  const length = Math.max(1, Math.round((to - from) / slow * rate));
  const first = skip + Math.round((lead + from / slow) * rate);
  const fade = Math.min(Math.round(0.012 * rate), length >> 2);
  const out = new AudioBuffer({ numberOfChannels: buffer.numberOfChannels, length, sampleRate: rate });
  for (let channel = 0; channel < buffer.numberOfChannels; channel += 1) {
    const all = buffer.getChannelData(channel);
    const data = out.getChannelData(channel);
    data.set(all.subarray(first, Math.min(first + length, all.length)));
    for (let i = 0; i < fade; i += 1) {
      const rise = (i + 0.5) / fade;
      // The whole part ends in the sound that leads up to it: like on like keeps its level when the
      // shares add up to one; a bar ends in another bar: there their powers do.
      const [up, down] = bar === null ? [rise, 1 - rise] : [Math.sin(rise * Math.PI / 2), Math.cos(rise * Math.PI / 2)];
      data[length - fade + i] = data[length - fade + i] * down + all[first - fade + i] * up;
    }
  }
  return out;
}

// The clicks of the same stretch, as a buffer of the same length.
function clicks(index, speed, bar) {
  const [from, to] = stretch(index, bar);
  const slow = speeds[speed];
  const out = new AudioBuffer({ length: Math.max(1, Math.round((to - from) / slow * rate)), sampleRate: rate });
  const data = out.getChannelData(0);
  for (const [at, accent] of parts[index].beats) {
    if (at >= from && at < to) tick(data, Math.round((at - from) / slow * rate), accent);
  }
  return out;
}

// One tick: short, pitched, a fifth higher on the first beat of a bar.
function tick(data, from, accent) {
  const hz = accent ? 2093 : 1396.9;
  const length = Math.round(0.03 * rate);
  for (let i = 0; i < length && from + i < data.length; i += 1) {
    data[from + i] += (accent ? 0.5 : 0.35) * Math.exp(-i / (0.006 * rate)) * (1 - i / length) * Math.cos(2 * Math.PI * hz * i / rate);
  }
}

// ---- playing

// Plays what is chosen; where something sounds already, goes on from where it is unless `again`.
async function play(again = true) {
  const ctx = audio();
  const request = (asked += 1);
  const { part: index, speed, bar, click, count } = chosen;
  const voice = parts[index].sounds[chosen.voice] ? chosen.voice : 'both';
  let source;
  try {
    ctx.resume(); // it never answers where there is no device: `watch` tells of that
    source = await loop(index, voice, speed, bar);
  } catch {
    say('This browser cannot decode the sound (Opus). A newer version of it can.');
    return;
  }
  if (request !== asked) return;
  const [from, to] = stretch(index, bar);
  const slow = speeds[speed];
  const goingOn = !again && playing && playing.index === index;
  const where = goingOn ? position() : from;
  const inside = where >= from && where < to ? where : from;
  const soon = ctx.currentTime + 0.06;
  const counted = count && !goingOn ? countIn(index, bar, slow) : [];
  const start = soon + (counted.length ? counted[counted.length - 1].after : 0);
  stop(soon);
  const level = new GainNode(ctx);
  level.connect(ctx.destination);
  const offset = (inside - from) / slow;
  const music = new AudioBufferSourceNode(ctx, { buffer: source, loop: true });
  // Before a loop's first pluck there are 3 ms; where it goes on, the old sound fades as it comes.
  const rise = new GainNode(ctx, { gain: 0 });
  rise.gain.setValueAtTime(0, start);
  rise.gain.linearRampToValueAtTime(1, start + (goingOn ? 0.02 : 0.002));
  music.connect(rise).connect(level);
  music.start(start, offset);
  const beat = new AudioBufferSourceNode(ctx, { buffer: clicks(index, speed, bar), loop: true });
  const loud = new GainNode(ctx, { gain: click ? 1 : 0 });
  beat.connect(loud).connect(level);
  beat.start(start, offset);
  for (const { at, accent } of counted) ticked(ctx, soon + at, accent, level);
  playing = { index, voice, speed, bar, from, to, slow, start: start - offset, length: source.length / rate, music, beat, loud, level, quiet: start, counted: start - soon };
  shown();
  say(`Playing ${named(index, bar)} at ${percent(speed)}${{ both: '', thumb: ', thumb alone', fingers: ', fingers alone' }[voice]}`);
  if (!watching) frame();
  watch(ctx);
}

// The beats of one bar before a stretch begins: when after the start of counting, and the accents.
function countIn(index, bar, slow) {
  const { beats, meter } = parts[index];
  const [from] = stretch(index, bar);
  const first = beats.findIndex(([at]) => at >= from);
  if (first < 0 || beats.length < 2) return [];
  const i = Math.min(first, beats.length - 2);
  const gap = (beats[i + 1][0] - beats[i][0]) / slow;
  const run = (beats[first][0] - from) / slow;
  const out = [];
  for (let n = 0; n < meter; n += 1) out.push({ at: n * gap, accent: n === 0 });
  out[meter - 1].after = meter * gap - run;
  return out;
}

function ticked(ctx, at, accent, to) {
  const buffer = new AudioBuffer({ length: Math.round(0.03 * rate), sampleRate: rate });
  tick(buffer.getChannelData(0), 0, accent);
  const source = new AudioBufferSourceNode(ctx, { buffer });
  source.connect(to);
  source.start(at);
}

function stop(at = audio().currentTime) {
  if (!playing) return;
  const { music, beat, level } = playing;
  level.gain.cancelScheduledValues(at);
  level.gain.setValueAtTime(1, at);
  level.gain.linearRampToValueAtTime(0, at + 0.02);
  music.stop(at + 0.03);
  beat.stop(at + 0.03);
  playing = null;
}

function halt() {
  asked += 1;
  stop();
  shown();
  light(null);
  say('Stopped');
}

// Where a device answers, its clock runs.
function watch(ctx) {
  const before = ctx.currentTime;
  setTimeout(() => {
    if (playing && ctx.currentTime === before) {
      halt();
      say('No sound comes out: check that this device has a loudspeaker or headphones.');
    }
  }, 1500);
}

// What is heard now, in seconds of the recording after the part's beginning; before it while counting.
function position() {
  if (!playing) return null;
  const now = context.currentTime - (context.outputLatency || context.baseLatency || 0);
  const round = now - playing.start;
  if (now < playing.quiet) return null;
  return playing.from + (round % playing.length) * playing.slow;
}

// ---- light

// Halves of a frame: a note that begins before the next one is shown now.
const SOON = 0.008;
const views = parts.map((_, index) => {
  const figure = document.querySelector(`figure[data-part="${index}"]`);
  return Object.keys(parts[index].boxes).map((layout) => {
    const svg = figure.querySelector(`.${layout} svg`);
    const halos = [];
    for (const halo of svg.querySelectorAll('[data-n]')) (halos[Number(halo.dataset.n)] ??= []).push(halo);
    return { svg, halos, boxes: parts[index].boxes[layout], rects: [...svg.querySelectorAll('[data-bar]')], now: svg.querySelector('.now') };
  });
});
let lit = new Set();

let watching = false;

function frame() {
  watching = Boolean(playing);
  if (!watching) return;
  light(position());
  requestAnimationFrame(frame);
}

// Lights the notes that sound at a place of the part, and moves the line that stands there.
function light(at) {
  const next = new Set();
  const index = playing ? playing.index : chosen.part;
  if (at !== null && playing) {
    const soon = at + SOON * playing.slow;
    parts[index].notes.forEach(([from, to], n) => {
      const long = Math.min(Math.max(to - from, 0.12), 0.5);
      if (from <= soon && soon < from + long) next.add(n);
    });
  }
  for (const { halos } of views[index]) {
    for (const n of lit) if (!next.has(n)) halos[n]?.forEach((halo) => halo.classList.remove('on'));
    for (const n of next) if (!lit.has(n)) halos[n]?.forEach((halo) => halo.classList.add('on'));
  }
  lit = next;
  for (const view of views[index]) line(view, index, at);
}

function line({ now, boxes }, index, at) {
  if (at === null || reduced.matches) {
    now.setAttribute('d', 'M0 0');
    return;
  }
  const { bars, beats } = parts[index];
  // A bar's loop begins a little before its first beat: the line is in the bar from there on.
  let bar = bars.findLastIndex(([, from]) => from <= at + 1e-6);
  if (bar < 0) bar = 0;
  const box = boxes[bar];
  const from = bars[bar][1];
  const first = Math.max(0, beats.findIndex(([time]) => time >= from));
  const times = box.x.map((_, i) => (beats[first + i] ? beats[first + i][0] : parts[index].length + (beats[0][0])));
  let i = times.findLastIndex((time) => time <= at);
  i = Math.min(Math.max(i, 0), box.x.length - 2);
  const share = (at - times[i]) / (times[i + 1] - times[i] || 1);
  const x = box.x[i] + Math.max(-0.2, Math.min(share, 1)) * (box.x[i + 1] - box.x[i]);
  now.setAttribute('d', `M${x.toFixed(1)} ${box.y}v${box.h}`);
}

// ---- choosing

const named = (index, bar) => {
  const what = parts[index].title;
  return bar === null ? what : `${what}, bar ${parts[index].bars[bar][0]}`;
};

function button(text, label, act) {
  const made = document.createElement('button');
  made.type = 'button';
  made.textContent = text;
  made.setAttribute('aria-label', label);
  made.addEventListener('click', act);
  return made;
}

function choosePart(index) {
  if (index === chosen.part) return;
  light(null);
  chosen.part = index;
  chosen.bar = null;
  listBars();
}

function choose(change, again = false) {
  const before = { ...chosen };
  if ('part' in change) choosePart(change.part);
  Object.assign(chosen, change);
  const same = before.bar === chosen.bar && before.part === chosen.part;
  if (playing) play(again || !same);
  else if (!same) say(named(chosen.part, chosen.bar));
  shown();
}

const chooseBar = (bar) => choose({ bar: chosen.bar === bar ? null : bar });

function listBars() {
  const place = $('bars');
  place.replaceChildren(button('All', 'All bars', () => choose({ bar: null })));
  part().bars.forEach(([number], bar) => place.append(button(String(number), `Bar ${number}`, () => choose({ bar }))));
}

// Shows what is chosen and what sounds.
function shown() {
  const press = (element, on) => element.setAttribute('aria-pressed', String(on));
  [...$('speeds').children].forEach((b, i) => press(b, i === chosen.speed));
  [...$('bars').children].forEach((b, i) => press(b, i === (chosen.bar === null ? 0 : chosen.bar + 1)));
  for (const b of $('hands').children) {
    const there = b.dataset.voice in part().sounds;
    b.disabled = !there;
    press(b, there && b.dataset.voice === (chosen.voice in part().sounds ? chosen.voice : 'both'));
  }
  press($('click'), chosen.click);
  press($('count'), chosen.count);
  $('what').value = String(chosen.part);
  document.body.classList.toggle('playing', Boolean(playing));
  $('go-says').textContent = playing ? 'Stop' : 'Play';
  for (const b of document.querySelectorAll('[data-play]')) {
    const here = playing && Number(b.dataset.play) === playing.index;
    b.textContent = here ? 'Stop' : 'Play';
    b.setAttribute('aria-label', `${b.textContent}: ${parts[b.dataset.play].title}`);
  }
  views.forEach((both, index) => both.forEach(({ rects }) => rects.forEach((rect, bar) => {
    rect.classList.toggle('on', index === chosen.part && bar === chosen.bar);
  })));
}

speeds.forEach((_, i) => {
  $('speeds').append(button(percent(i).replace(' ', '\u202f'), `${percent(i)} speed`, () => choose({ speed: i })));
});
parts.forEach(({ title }, index) => $('what').append(new Option(title, String(index))));
$('what').addEventListener('change', () => choose({ part: Number($('what').value) }, true));
for (const b of $('hands').children) b.addEventListener('click', () => choose({ voice: b.dataset.voice }));
$('click').addEventListener('click', () => {
  chosen.click = !chosen.click;
  if (playing) playing.loud.gain.value = chosen.click ? 1 : 0;
  shown();
});
$('count').addEventListener('click', () => {
  chosen.count = !chosen.count;
  shown();
});
$('more').addEventListener('click', () => {
  const open = $('player').classList.toggle('open');
  $('more').setAttribute('aria-expanded', String(open));
});
$('go').addEventListener('click', () => (playing ? halt() : play()));
for (const b of document.querySelectorAll('[data-play]')) {
  b.addEventListener('click', () => {
    const index = Number(b.dataset.play);
    if (playing && playing.index === index) {
      halt();
      return;
    }
    choosePart(index);
    play();
  });
}

// A bar is where it is touched: its row of the sheet, whatever is drawn there.
views.forEach((both, index) => both.forEach(({ svg, boxes }) => {
  svg.addEventListener('click', (event) => {
    const { x, y } = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
    const row = boxes.map((box, bar) => ({ box, bar })).filter(({ box }) => y >= box.y && y < box.y + box.h);
    // The last bar of its row that begins left of it; left of them all, the first one.
    const bar = (row.findLast(({ box }) => box.x[0] - 6 <= x) ?? row[0])?.bar ?? -1;
    if (bar < 0) return;
    if (index !== chosen.part) choose({ part: index, bar }, true);
    else chooseBar(bar);
  });
}));

document.addEventListener('keydown', (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || event.target.closest('input, select, textarea')) return;
  const step = (by) => {
    const last = part().bars.length - 1;
    const bar = chosen.bar === null ? (by > 0 ? 0 : last) : chosen.bar + by;
    choose({ bar: bar < 0 || bar > last ? null : bar });
  };
  const speed = '1234'.indexOf(event.key);
  if (event.key === ' ') {
    // A button in focus answers the space bar itself.
    if (event.target.closest('button, summary, a')) return;
    if (playing) halt(); else play();
  } else if (event.key === 'ArrowLeft') step(-1);
  else if (event.key === 'ArrowRight') step(1);
  else if (event.key === 'Escape') choose({ bar: null });
  else if (speed >= 0 && speed < speeds.length) choose({ speed });
  else return;
  event.preventDefault();
});

// ---- strings to tune to

for (const b of document.querySelectorAll('[data-hz]')) {
  b.addEventListener('click', () => {
    const ctx = audio();
    ctx.resume();
    const now = ctx.currentTime;
    // Partials of a string, so that the low ones are heard on a small loudspeaker.
    const partials = Float32Array.from({ length: 12 }, (_, n) => (n ? 1 / n ** 1.3 : 0));
    const tone = new OscillatorNode(ctx, { frequency: Number(b.dataset.hz), periodicWave: new PeriodicWave(ctx, { real: new Float32Array(12), imag: partials }) });
    const level = new GainNode(ctx, { gain: 0 });
    level.gain.setValueAtTime(0, now);
    level.gain.linearRampToValueAtTime(0.3, now + 0.01);
    level.gain.exponentialRampToValueAtTime(0.001, now + 5);
    tone.connect(level).connect(ctx.destination);
    tone.start(now);
    tone.stop(now + 5);
  });
}

// ---- the student's take

const take = { samples: null, rate, speed: 0, part: 0, bar: null, recorder: null };
const tell = (text) => { $('take-says').textContent = text; };

async function record() {
  if (take.recorder) {
    finish();
    return;
  }
  let stream;
  try {
    stream = await navigator.mediaDevices.getUserMedia({
      audio: { echoCancellation: false, noiseSuppression: false, autoGainControl: false, channelCount: 1 },
    });
  } catch {
    tell('The microphone is not there, or this browser does not let a page from a file use it. Record with any recorder and hand in that file instead.');
    return;
  }
  // A context of its own: some browsers join a microphone only to a context at its own rate.
  const ctx = new AudioContext();
  await ctx.resume();
  const tap = ctx.createScriptProcessor(4096, 1, 1);
  const blocks = [];
  let gaps = 0;
  let due = null;
  tap.addEventListener('audioprocess', ({ inputBuffer, playbackTime }) => {
    // Sound that the browser dropped would move all that follows: it becomes silence.
    if (due !== null && playbackTime > due + 0.01) {
      gaps += 1;
      blocks.push(new Float32Array(Math.round((playbackTime - due) * ctx.sampleRate)));
    }
    due = playbackTime + inputBuffer.duration;
    blocks.push(inputBuffer.getChannelData(0).slice());
  });
  ctx.createMediaStreamSource(stream).connect(tap);
  tap.connect(ctx.destination);
  take.recorder = { ctx, stream, tap, blocks, gaps: () => gaps };
  $('record').textContent = 'Stop recording';
  $('hear').disabled = true;
  tell('Recording. Play; press again when you are done.');
  if ($('along').checked) {
    chosen.count = true;
    play();
  }
}

function finish() {
  const { ctx, stream, tap, blocks, gaps } = take.recorder;
  tap.disconnect();
  for (const track of stream.getTracks()) track.stop();
  take.recorder = null;
  if (playing) halt();
  const all = new Float32Array(blocks.reduce((n, b) => n + b.length, 0));
  let at = 0;
  for (const block of blocks) {
    all.set(block, at);
    at += block.length;
  }
  $('record').textContent = 'Record again';
  take.samples = halved(all);
  take.rate = ctx.sampleRate / 2;
  Object.assign(take, { part: chosen.part, speed: chosen.speed, bar: chosen.bar });
  ctx.close();
  const peak = take.samples.reduce((most, s) => Math.max(most, Math.abs(s)), 0);
  const seconds = take.samples.length / take.rate;
  const doubts = [];
  if (peak < 0.003) doubts.push('hardly anything is to be heard in it');
  if (peak > 0.999) doubts.push('it is too loud in places: move away from the microphone');
  if (gaps()) doubts.push(`the browser lost sound ${gaps() === 1 ? 'once' : `${gaps()} times`}`);
  tell(`${seconds.toFixed(0)} s recorded${doubts.length ? `; ${doubts.join('; ')}` : ''}.`);
  $('hear').disabled = false;
  const link = $('save');
  URL.revokeObjectURL(link.href);
  link.href = URL.createObjectURL(new Blob([wave(take.samples, take.rate)], { type: 'audio/wav' }));
  link.download = `${lesson.title.replace(/[^\p{L}\p{N}]+/gu, '-').replace(/^-|-$/g, '').slice(0, 60) || 'lesson'}-take.wav`;
  link.hidden = false;
}

// Half the rate, for a file half the size: a low-pass of windowed sinc, then every second sample.
// What is heard in a guitar's attack lies below it, and so does all that compare listens to.
function halved(samples) {
  const reach = 31;
  const taps = Array.from({ length: 2 * reach + 1 }, (_, k) => {
    const x = k - reach;
    const sinc = x === 0 ? 0.48 : Math.sin(Math.PI * 0.48 * x) / (Math.PI * x);
    return sinc * (0.54 + 0.46 * Math.cos(Math.PI * x / (reach + 1)));
  });
  const out = new Float32Array(samples.length >> 1);
  for (let i = 0; i < out.length; i += 1) {
    let sum = 0;
    for (let k = -reach; k <= reach; k += 1) sum += (samples[2 * i + k] ?? 0) * taps[k + reach];
    out[i] = sum;
  }
  return out;
}

// 16-bit WAV (RIFF), with a word on where it comes from.
function wave(samples, hz) {
  const words = new TextEncoder().encode(`A take of ${lesson.title}, ${named(take.part, take.bar)} at ${percent(take.speed)}; Thumbline ${lesson.version}`);
  const note = words.length + 1 + ((words.length + 1) % 2);
  const size = 44 + 20 + note + 2 * samples.length;
  const view = new DataView(new ArrayBuffer(size));
  const text = (at, letters) => [...letters].forEach((c, i) => view.setUint8(at + i, c.charCodeAt(0)));
  text(0, 'RIFF');
  view.setUint32(4, size - 8, true);
  text(8, 'WAVEfmt ');
  [[16, 16, 4], [20, 1, 2], [22, 1, 2], [24, hz, 4], [28, 2 * hz, 4], [32, 2, 2], [34, 16, 2]].forEach(([at, value, bytes]) => (bytes === 4 ? view.setUint32(at, value, true) : view.setUint16(at, value, true)));
  text(36, 'LIST');
  view.setUint32(40, 12 + note, true);
  text(44, 'INFOICMT');
  view.setUint32(52, words.length + 1, true);
  words.forEach((byte, i) => view.setUint8(56 + i, byte));
  const data = 56 + note;
  text(data, 'data');
  view.setUint32(data + 4, 2 * samples.length, true);
  samples.forEach((s, i) => view.setInt16(data + 8 + 2 * i, Math.round(Math.max(-1, Math.min(s, 1)) * 32767), true));
  return view.buffer;
}

// How sound rises, 200 values a second: where it does, something is plucked.
function rises(samples, hz) {
  const hop = Math.round(hz / 200);
  const out = new Float32Array(Math.floor(samples.length / hop));
  let before = 0;
  for (let i = 0; i < out.length; i += 1) {
    let sum = 1e-9;
    for (let k = 1; k < hop; k += 1) sum += (samples[i * hop + k] - samples[i * hop + k - 1]) ** 2;
    const level = Math.log(sum / hop + 1e-7);
    out[i] = Math.max(0, level - before);
    before = level;
  }
  out[0] = 0;
  return out;
}

// Seconds by which a take lies behind the loop, such that on the whole they are together.
function behind(loopSamples, takeSamples, takeRate) {
  const model = rises(loopSamples, rate);
  const heard = rises(takeSamples, takeRate);
  let best = [-1, 0];
  for (let shift = 0; shift < model.length; shift += 1) {
    let sum = 0;
    for (let i = 0; i < heard.length; i += 1) sum += heard[i] * model[(i + model.length - shift) % model.length];
    if (sum > best[0]) best = [sum, shift];
  }
  return best[1] / 200;
}

async function hearTake() {
  if (playing) halt();
  const ctx = audio();
  ctx.resume();
  const buffer = await loop(take.part, 'both', take.speed, take.bar);
  const late = behind(buffer.getChannelData(0), take.samples, take.rate);
  const mine = new AudioBuffer({ length: take.samples.length, sampleRate: take.rate });
  const peak = take.samples.reduce((most, s) => Math.max(most, Math.abs(s)), 0.05);
  mine.copyToChannel(take.samples.map((s) => s * 0.8 / peak), 0);
  const model = new AudioBufferSourceNode(ctx, { buffer, loop: true });
  const own = new AudioBufferSourceNode(ctx, { buffer: mine });
  model.connect(new StereoPannerNode(ctx, { pan: -0.7 })).connect(ctx.destination);
  own.connect(new StereoPannerNode(ctx, { pan: 0.7 })).connect(ctx.destination);
  const start = ctx.currentTime + 0.1;
  const length = buffer.length / rate;
  model.start(start, (length - late % length) % length);
  own.start(start);
  model.stop(start + mine.duration);
  tell('The recording on the left, your take on the right.');
}

$('record').addEventListener('click', record);
$('hear').addEventListener('click', hearTake);

listBars();
shown();
for (const b of document.querySelectorAll('button[disabled]')) if (b.id !== 'hear' && !b.dataset.voice) b.disabled = false;
globalThis.lesson = { position, loop, stretch, behind, rises, parts, get context() { return context; }, get playing() { return playing; } };
})();
