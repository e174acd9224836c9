// A lesson page in real browsers, from file:// with the network cut. Run by
// tests/reference/check_lesson.py: `node page.mjs FOLDER` with page.html, hostile.html, and the
// student's take as take.wav in it; exits with anything but 0 when a check failed.
import puppeteer from 'puppeteer-core';
import axe from 'axe-core';
import { HtmlValidate } from 'html-validate';
import assert from 'node:assert/strict';
import fs from 'node:fs';
import path from 'node:path';
import { pathToFileURL } from 'node:url';

const folder = path.resolve(process.argv[2]);
const file = (name) => path.join(folder, name);
const url = (name) => pathToFileURL(file(name)).href;
const done = [];

async function check(name, work) {
  const before = Date.now();
  try {
    const said = await work();
    done.push(`${name}${said ? ` (${said})` : ''}`);
    console.log(`ok   ${name} ${said ?? ''} [${((Date.now() - before) / 1000).toFixed(1)} s]`);
  } catch (error) {
    console.log(`FAIL ${name}: ${error.message ?? error}`);
    process.exitCode = 1;
  }
}

// What keeps Chromium quiet on a machine without a screen, a network or a sound card.
const QUIET = ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking', '--disable-component-update', '--disable-sync', '--autoplay-policy=no-user-gesture-required'];

const chromium = (more = []) => puppeteer.launch({
  browser: 'chrome', executablePath: '/usr/bin/chromium', headless: true, protocolTimeout: 120_000, args: [...QUIET, ...more],
});

// A page opened from its file, offline; every request but its own and every complaint is kept.
async function open(browser, name, { width = 1200, height = 900, dark = false, still = false, phone = false } = {}) {
  const page = await browser.newPage();
  page.complaints = [];
  page.requests = [];
  page.on('console', (message) => message.type() === 'error' && page.complaints.push(message.text()));
  page.on('pageerror', (error) => page.complaints.push(String(error)));
  page.on('dialog', (dialog) => { page.complaints.push(`dialog: ${dialog.message()}`); dialog.dismiss(); });
  page.on('request', (request) => page.requests.push(request.url()));
  await page.setViewport({ width, height, deviceScaleFactor: 1, hasTouch: phone, isMobile: phone });
  await page.emulateMediaFeatures([
    { name: 'prefers-color-scheme', value: dark ? 'dark' : 'light' },
    { name: 'prefers-reduced-motion', value: still ? 'reduce' : 'no-preference' },
  ]);
  await page.setOfflineMode(true);
  await page.goto(url(name));
  await page.waitForFunction(() => globalThis.lesson && !document.getElementById('go').disabled);
  return page;
}

const pressed = (page, selector) => page.$$eval(`${selector} [aria-pressed=true], ${selector}[aria-pressed=true]`, (found) => found.map((b) => b.textContent));

// Ten rounds of a loop through an offline audio graph: the longest stretch of silence, how rough
// the signal is at the seams against elsewhere, and whether each round is like the first.
const rounds = (page, index, voice, speed, bar) => page.evaluate(async (i, v, s, b) => {
  const buffer = await globalThis.lesson.loop(i, v, s, b);
  const ctx = new OfflineAudioContext(1, buffer.length * 10, buffer.sampleRate);
  const source = new AudioBufferSourceNode(ctx, { buffer, loop: true });
  source.connect(ctx.destination);
  source.start();
  const out = (await ctx.startRendering()).getChannelData(0);
  // Silence anywhere, in the recording itself; a hand alone and what the string model plays rest
  // between their notes, so of them only silence that begins or ends at a seam counts, where the
  // other side of the seam sounds.
  const still = (k) => Math.abs(out[k] ?? 0) < 1e-7;
  let silent = 0;
  let run = 0;
  for (let k = 0; k < out.length; k += 1) {
    run = still(k) ? run + 1 : 0;
    const seam = k % buffer.length;
    const cut = run > 0 && ((seam === buffer.length - 1 && !still(k + 1)) || (seam === run - 1 && !still(k - run)));
    if ((v === 'both' && i === 0) || cut) silent = Math.max(silent, run);
  }
  // A click is a step: second differences, their largest within 1 ms, window by window.
  const width = 48;
  const steps = [];
  for (let at = 2; at + width < out.length; at += width) {
    let most = 0;
    for (let k = at; k < at + width; k += 1) most = Math.max(most, Math.abs(out[k] - 2 * out[k - 1] + out[k - 2]));
    steps.push(most);
  }
  const near = (seam) => Math.max(...[-1, 0].map((d) => steps[Math.floor((seam - 2) / width) + d] ?? 0));
  const sorted = [...steps].sort((a, c) => a - c);
  const seams = Array.from({ length: 9 }, (_, n) => near((n + 1) * buffer.length));
  let differs = 0;
  for (let k = 0; k < buffer.length; k += 7) differs = Math.max(differs, Math.abs(out[k + 9 * buffer.length] - out[k]));
  return { seconds: buffer.length / buffer.sampleRate, silent: silent / 48, seam: Math.max(...seams), usual: sorted[Math.floor(sorted.length * 0.99)], differs };
}, index, voice, speed, bar);

// Where sound rises next to each note's time, against that time, in ms: each note's nearest rise.
const rising = (page, speed) => page.evaluate(async (s) => {
  const { loop, parts } = globalThis.lesson;
  const speeds = JSON.parse(document.getElementById('lesson').textContent).speeds;
  const buffer = await loop(0, 'both', s, null);
  const data = buffer.getChannelData(0);
  const hop = 48;
  const level = [];
  for (let at = 0; at + hop < data.length; at += hop) {
    let sum = 1e-12;
    for (let k = at + 1; k < at + hop; k += 1) sum += (data[k] - data[k - 1]) ** 2;
    level.push(sum);
  }
  const out = [];
  for (const [time] of parts[0].notes) {
    const due = time / speeds[s] * 1000;
    let best = [0, 0];
    for (let m = Math.max(8, Math.floor(due) - 30); m < due + 30 && m + 4 < level.length; m += 1) {
      const before = (level[m - 8] + level[m - 6] + level[m - 4] + level[m - 2]) / 4 + 1e-9;
      const rise = (level[m] + level[m + 1] + level[m + 2]) / 3 / before;
      if (rise > best[0]) best = [rise, m - due];
    }
    out.push(best[1]);
  }
  return out;
}, speed);

const median = (values) => [...values].sort((a, b) => a - b)[values.length >> 1];

const browser = await chromium(['--use-fake-ui-for-media-stream', '--use-fake-device-for-media-stream', `--use-file-for-fake-audio-capture=${file('take.wav')}%noloop`]);
try {
  const page = await open(browser, 'page.html');

  await check('opens from a file, offline, and asks for nothing', async () => {
    assert.deepEqual(page.requests.filter((u) => !u.startsWith('file:') && !u.startsWith('data:')), []);
    assert.equal(page.requests.length, 1);
    assert.deepEqual(page.complaints, []);
    const refused = await page.evaluate(() => fetch('https://example.org/').then(() => 'fetched', () => 'refused'));
    assert.equal(refused, 'refused');
    page.complaints.length = 0;
  });

  await check('valid HTML', async () => {
    const report = await new HtmlValidate({ extends: ['html-validate:standard'], rules: { 'long-title': 'off', 'require-sri': 'off' } })
      .validateString(fs.readFileSync(file('page.html'), 'utf8').replace(/(<script type="text\/plain"[^>]*>)[^<]*/g, '$1'));
    const said = report.results.flatMap((r) => r.messages.map((m) => `${m.ruleId}: ${m.message} (line ${m.line})`));
    assert.deepEqual([...new Set(said)].slice(0, 12), []);
  });

  await check('every speed decodes to its length, each note where it is due', async () => {
    const said = [];
    const speeds = await page.evaluate(() => JSON.parse(document.getElementById('lesson').textContent).speeds);
    for (let s = 0; s < speeds.length; s += 1) {
      for (const voice of ['both', 'thumb', 'fingers']) {
        const facts = await page.evaluate(async (v, i) => {
          const buffer = await globalThis.lesson.loop(0, v, i, null);
          const data = buffer.getChannelData(0);
          return { seconds: buffer.length / buffer.sampleRate, level: Math.sqrt(data.reduce((n, x) => n + x * x, 0) / data.length), whole: globalThis.lesson.parts[0].length };
        }, voice, s);
        assert.ok(Math.abs(facts.seconds - facts.whole / speeds[s]) < 2e-4, `${voice} at ${speeds[s]}: ${facts.seconds} s`);
        assert.ok(facts.level > 0.003, `${voice} at ${speeds[s]} is silent`);
      }
      const off = await rising(page, s);
      const middle = median(off);
      const spread = median(off.map((x) => Math.abs(x - middle)));
      assert.ok(Math.abs(middle) < 5 && spread < 6, `at ${speeds[s]} notes lie ${middle} ± ${spread} ms from where they are due`);
      said.push(`${Math.round(100 * speeds[s])} %: ${middle.toFixed(1)} ± ${spread.toFixed(1)} ms`);
    }
    return said.join(', ');
  });

  await check('ten rounds without a gap', async () => {
    const said = [];
    for (const [index, voice, speed, bar] of [[0, 'both', 0, null], [0, 'both', 3, null], [0, 'thumb', 1, null], [0, 'fingers', 2, null], [0, 'both', 0, 1], [0, 'both', 3, 0], [1, 'both', 2, null]]) {
      const facts = await rounds(page, index, voice, speed, bar);
      assert.ok(facts.silent < 1, `${voice} ${speed} ${bar}: ${facts.silent} ms of silence`);
      assert.ok(facts.seam <= 1.5 * facts.usual, `${voice} ${speed} ${bar}: a step of ${facts.seam} at a seam, ${facts.usual} elsewhere`);
      assert.equal(facts.differs, 0);
      said.push((facts.seam / facts.usual).toFixed(2));
    }
    return `steps at seams against the strongest 1 % elsewhere: ${said.join(', ')}`;
  });

  await check('notes light as they sound', async () => {
    const said = [];
    for (const speed of ['4', '1']) {
      await page.keyboard.press(speed);
      const facts = await page.evaluate(async () => {
        const { lesson } = globalThis;
        const slow = () => lesson.playing.slow;
        const off = [];
        let last = performance.now();
        let quick = true;
        // Frames that the machine itself was late for say nothing about the page.
        const beat = (now) => { quick = now - last < 20; last = now; requestAnimationFrame(beat); };
        requestAnimationFrame(beat);
        const seen = new MutationObserver((changes) => {
          for (const { target, oldValue } of changes) {
            if (!target.classList.contains('on') || /\bon\b/.test(oldValue ?? '') || !lesson.playing) continue;
            const at = lesson.position();
            if (at === null) continue;
            const length = lesson.parts[0].length;
            let late = at - lesson.parts[0].notes[target.dataset.n][0];
            if (late > length / 2) late -= length;
            if (late < -length / 2) late += length;
            off.push([1000 * late / slow(), quick && performance.now() - last < 25]);
          }
        });
        for (const halo of document.querySelectorAll('figure[data-part="0"] .wide [data-n]')) seen.observe(halo, { attributes: true, attributeOldValue: true, attributeFilter: ['class'] });
        document.getElementById('go').click();
        await new Promise((later) => { setTimeout(later, 2600); });
        document.getElementById('go').click();
        return off;
      });
      const quick = facts.filter(([, q]) => q).map(([ms]) => Math.abs(ms));
      assert.ok(facts.length >= 3, `only ${facts.length} notes lit`);
      if (quick.length < 3) { said.push('too slow a machine to tell'); continue; }
      const within = quick.filter((ms) => ms <= 20).length / quick.length;
      assert.ok(within >= 0.9, `${Math.round(100 * within)} % of ${quick.length} notes within 20 ms: ${quick.map((x) => x.toFixed(0))}`);
      said.push(`${quick.length} notes, median ${median(quick).toFixed(1)} ms, most ${Math.max(...quick).toFixed(0)} ms`);
    }
    return said.join('; ');
  });

  await check('keys', async () => {
    await page.keyboard.press('2');
    assert.match((await pressed(page, '#speeds')).join(), /60/);
    await page.keyboard.press('ArrowRight');
    await page.keyboard.press('ArrowRight');
    const bars = await page.evaluate(() => globalThis.lesson.parts[0].bars.map(([n]) => n));
    assert.deepEqual(await pressed(page, '#bars'), [String(bars[1])]);
    await page.keyboard.press('ArrowLeft');
    assert.deepEqual(await pressed(page, '#bars'), [String(bars[0])]);
    await page.keyboard.press('Space');
    await page.waitForFunction(() => globalThis.lesson.playing?.bar === 0);
    await page.keyboard.press('Escape');
    await page.waitForFunction(() => globalThis.lesson.playing?.bar === null);
    await page.keyboard.press('Space');
    await page.waitForFunction(() => !globalThis.lesson.playing);
    assert.equal(await page.$eval('#status', (s) => s.textContent), 'Stopped');
  });

  await check('count-in and click', async () => {
    await page.click('#click');
    await page.click('#count');
    await page.click('#go');
    await page.waitForFunction(() => globalThis.lesson.playing);
    const facts = await page.evaluate(() => {
      const { playing, context, parts } = globalThis.lesson;
      // The part may begin between two beats: it is counted up to the first one in it.
      const { beats, meter } = parts[playing.index];
      const first = beats.findIndex(([at]) => at >= 0);
      const [[a], [b]] = beats.slice(first);
      return { ahead: playing.quiet > context.currentTime, wait: playing.counted, bar: (meter * (b - a) - a) / playing.slow, loud: playing.loud.gain.value };
    });
    assert.ok(facts.ahead && Math.abs(facts.wait - facts.bar) < 0.02, JSON.stringify(facts));
    assert.equal(facts.loud, 1);
    await page.click('#click');
    await page.click('#count');
    await page.click('#go');
  });

  await check('a take by the microphone', async () => {
    const downloads = await page.createCDPSession();
    await downloads.send('Page.setDownloadBehavior', { behavior: 'allow', downloadPath: folder });
    await page.click('#along');
    await page.click('#record');
    await page.waitForFunction(() => document.getElementById('record').textContent === 'Stop recording');
    await new Promise((later) => { setTimeout(later, 7_000); });
    await page.click('#record');
    await page.waitForFunction(() => !document.getElementById('save').hidden);
    const said = await page.$eval('#take-says', (s) => s.textContent);
    assert.doesNotMatch(said, /hardly/);
    await page.click('#save');
    const name = await page.$eval('#save', (a) => a.download);
    for (let i = 0; i < 50 && !fs.existsSync(file(name)); i += 1) await new Promise((later) => { setTimeout(later, 100); });
    fs.renameSync(file(name), file('saved.wav'));
    await page.click('#hear');
    await page.waitForFunction(() => /on the left/.test(document.getElementById('take-says').textContent));
    assert.deepEqual(page.complaints, []);
    return `${name}, ${(fs.statSync(file('saved.wav')).size / 1e6).toFixed(2)} MB; ${said}`;
  });

  await check('prints', async () => {
    const said = [];
    for (const format of ['A4', 'Letter']) {
      const pdf = Buffer.from(await page.pdf({ format, path: file(`${format}.pdf`) })).toString('latin1');
      const pages = (pdf.match(/\/Type\s*\/Page\b(?!s)/g) ?? []).length;
      assert.ok(pages >= 1 && pages <= 2, `${pages} sheets of ${format}`);
      said.push(`${format}: ${pages}`);
    }
    return said.join(', ');
  });

  for (const look of [{}, { dark: true }, { width: 360, height: 740, phone: true, still: true }]) {
    const name = look.dark ? 'dark' : look.phone ? 'phone' : 'paper';
    await check(`reads well: ${name}`, async () => {
      const seen = await open(browser, 'page.html', look);
      await seen.screenshot({ path: file(`${name}.png`), fullPage: true });
      const wide = await seen.evaluate(() => document.documentElement.scrollWidth - innerWidth);
      assert.ok(wide <= 0, `${wide} pixels too wide`);
      if (look.phone) {
        await seen.tap('#more');
        await seen.evaluate(() => document.querySelector('.sheet').scrollIntoView());
        const row = await seen.$eval('figure[data-part="0"] .narrow [data-bar="1"]', (rect) => { const r = rect.getBoundingClientRect(); return [r.x + r.width / 2, r.y + r.height / 2]; });
        await seen.touchscreen.tap(...row);
        assert.equal((await pressed(seen, '#bars')).length, 1);
        assert.notDeepEqual(await pressed(seen, '#bars'), ['All']);
        const still = await seen.evaluate(() => document.querySelector('.now').getAttribute('d'));
        assert.match(still, /^M0 0/);
        await seen.screenshot({ path: file('phone-open.png') });
      }
      await seen.evaluate(axe.source);
      const found = await seen.evaluate(() => globalThis.axe.run(document, { resultTypes: ['violations'] }));
      assert.deepEqual(found.violations.map((v) => `${v.id}: ${v.nodes.slice(0, 3).map((n) => n.html.slice(0, 120)).join(' | ')}`), []);
      await seen.close();
    });
  }

  await check('titles and words are text', async () => {
    const seen = await open(browser, 'hostile.html');
    const facts = await seen.evaluate(() => ({ title: document.title, heading: document.querySelector('h1').textContent, ran: globalThis.ran, scripts: document.querySelectorAll('.words script, .words img, .words iframe, .words [onclick], .words [style], header script').length }));
    const title = fs.readFileSync(file('hostile.txt'), 'utf8');
    assert.equal(facts.heading, title);
    assert.equal(facts.ran, undefined);
    assert.equal(facts.scripts, 0);
    assert.deepEqual(seen.complaints, []);
    await seen.close();
  });
} finally {
  await browser.close();
}

await check('says so where no sound comes out', async () => {
  const mute = await chromium(['--disable-audio-output']);
  try {
    const page = await open(mute, 'page.html');
    await page.click('#go');
    await page.waitForFunction(() => /Playing|No sound/.test(document.getElementById('status').textContent), { timeout: 8000 });
    assert.deepEqual(page.complaints, []);
  } finally {
    await mute.close();
  }
});

const FIREFOX = '/usr/bin/firefox-esr';
if (fs.existsSync(FIREFOX)) {
  await check('Firefox', async () => {
    const fox = await puppeteer.launch({ browser: 'firefox', executablePath: FIREFOX, headless: true, protocolTimeout: 120_000 });
    try {
      const page = await fox.newPage();
      const complaints = [];
      page.on('console', (message) => message.type() === 'error' && complaints.push(message.text()));
      page.on('pageerror', (error) => complaints.push(String(error)));
      await page.setViewport({ width: 1100, height: 800 });
      await page.goto(url('page.html'));
      await page.waitForFunction(() => globalThis.lesson && !document.getElementById('go').disabled);
      for (const [voice, speed, bar] of [['both', 0, null], ['both', 3, 1], ['thumb', 1, null]]) {
        const facts = await rounds(page, 0, voice, speed, bar);
        assert.ok(facts.silent < 1 && facts.seam <= 1.5 * facts.usual && facts.differs === 0, JSON.stringify(facts));
      }
      const off = await rising(page, 0);
      assert.ok(Math.abs(median(off)) < 5, `notes lie ${median(off)} ms from where they are due`);
      await page.keyboard.press('1');
      assert.match((await pressed(page, '#speeds')).join(), /50/);
      await page.screenshot({ path: file('firefox.png') });
      assert.deepEqual(complaints, []);
      return `notes ${median(off).toFixed(1)} ms from where they are due`;
    } finally {
      await fox.close();
    }
  });
} else {
  console.log('skip Firefox: firefox-esr is not installed');
}

console.log(process.exitCode ? 'a check failed' : `${done.length} checks in browsers`);
