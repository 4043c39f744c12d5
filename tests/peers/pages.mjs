// Opens pages in Chromium and holds them to what a reader needs: no accessibility finding, nothing wider than the
// window, targets large enough for a thumb, every act reachable by keyboard with a visible focus, nothing asked of
// any other host, the same words without JavaScript.
//
//   node pages.mjs OUT URL...
//
// OUT gets a screenshot per page and view, and the page as printed (A4); - for none. Exit 1 on any finding.
// Needs Chromium (CHROMIUM=path, by default /usr/bin/chromium) and `npm ci` in this folder; downloads no browser.
// Rules: axe-core, WCAG 2.0 to 2.2 A and AA and its best practices. Target size: our own 44 CSS px for acts
// (WCAG 2.2 success criterion 2.5.5, which is AAA). Reflow: 320 CSS px (criterion 1.4.10).
import { readFile, mkdir } from 'node:fs/promises';
import { createRequire } from 'node:module';
import { chromium } from 'playwright-core';

const AXE = createRequire(import.meta.url).resolve('axe-core/axe.min.js');
const RULES = ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'];
const TARGET_PX = 44;
// Keys sent before their effect is waited for.
const TABS_AT_ONCE = 50;
// Tabs inside a field of a date or a time: its parts and its picker; none of them moves the focus of the page.
const TABS_INSIDE = 4;
// In the dark only colours differ.
const IN_THE_DARK = { type: 'rule', values: ['color-contrast'] };
const EVERYTHING = { type: 'tag', values: RULES };
const PHONE = { viewport: { width: 390, height: 844 }, hasTouch: true, isMobile: true };
// A page is opened once for each of these; narrow is the desktop's page in a smaller window.
const VIEWS = {
  phone: { ...PHONE, deviceScaleFactor: 2 },
  desktop: { viewport: { width: 1280, height: 900 } },
  dark: { ...PHONE, colorScheme: 'dark' },
  nojs: { ...PHONE, javaScriptEnabled: false },
};
const NARROW = { width: 320, height: 640 };
const FLAGS = ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-sync',
  '--disable-background-networking', '--disable-component-update', '--disable-domain-reliability',
  '--host-resolver-rules=MAP * ~NOTFOUND , EXCLUDE 127.0.0.1 , EXCLUDE localhost'];

const [out, ...urls] = process.argv.slice(2);
if (!out || urls.length === 0) {
  console.error('usage: node pages.mjs OUT URL...');
  process.exit(2);
}
const pictures = out !== '-';
if (pictures) await mkdir(out, { recursive: true });
const axeSource = await readFile(AXE, 'utf8');
const browser = await chromium.launch({ executablePath: process.env.CHROMIUM ?? '/usr/bin/chromium', args: FLAGS });

/** What axe finds, one line each. */
async function accessibility(page, runOnly) {
  await page.evaluate(axeSource);
  const { violations } = await page.evaluate(
    (runOnly) => globalThis.axe.run(document, { runOnly }), runOnly);
  return violations.flatMap(({ id, impact, nodes }) =>
    nodes.map((node) => `${impact} ${id}: ${node.target.join(' ')} ${node.failureSummary?.split('\n')[1]?.trim() ?? ''}`));
}

/** Runs in the page: what sticks out of the window, and acts too small for a thumb. */
function measure(targetPx) {
  const findings = [];
  const over = document.documentElement.scrollWidth - document.documentElement.clientWidth;
  if (over > 0) findings.push(`${over}px wider than the window`);
  for (const act of document.querySelectorAll('button, summary, textarea, select, input:not([type=hidden]), main a, nav a, footer a')) {
    const labelled = act.matches('input[type=radio], input[type=checkbox]');
    const box = (labelled ? act.closest('label') ?? act : act).getBoundingClientRect();
    if (box.width > 0 && box.height < targetPx - 0.5) {
      findings.push(`target of ${box.height.toFixed(1)}px: ${act.textContent.trim().slice(0, 40) || act.id}`);
    }
  }
  return findings;
}

/** Runs in the page: opens what is folded, counts its acts, and notes each one that gets the focus until the focus leaves the page. */
function watchFocus() {
  document.querySelectorAll('details').forEach((one) => { one.open = true; });
  const met = { acts: 0, unseen: [], ended: false };
  globalThis.met = met;
  document.addEventListener('focusin', ({ target }) => {
    if (met.ended) return;
    met.acts += 1;
    const { outlineStyle, outlineWidth } = getComputedStyle(target);
    if (outlineStyle === 'none' || parseFloat(outlineWidth) < 2) met.unseen.push(target.textContent.trim().slice(0, 40));
  });
  document.addEventListener('focusout', ({ relatedTarget }) => { met.ended ||= relatedTarget === null; });
  const acts = [...document.querySelectorAll('a[href], button, summary, textarea, select, input:not([type=hidden]), [tabindex="0"]')];
  const names = new Set();
  return acts.filter((act) => act.checkVisibility()).filter((act) => act.type !== 'radio' || !names.has(act.name) && names.add(act.name)).length;
}

/** Tabs through the whole page: every act must be met, each with an outline. */
async function keyboard(page) {
  const all = await page.evaluate(watchFocus);
  const keys = await page.context().newCDPSession(page);
  const tab = { key: 'Tab', code: 'Tab', windowsVirtualKeyCode: 9 };
  const inside = TABS_INSIDE * await page.locator('input[type=date], input[type=time]').count();
  // One more than there are acts: by then the focus has left the page. They are not waited for one by one.
  const needed = all + inside + 1;
  for (let sent = 0; sent < needed; sent += TABS_AT_ONCE) {
    const some = Array.from({ length: Math.min(TABS_AT_ONCE, needed - sent) }, () => [
      keys.send('Input.dispatchKeyEvent', { type: 'rawKeyDown', ...tab }),
      keys.send('Input.dispatchKeyEvent', { type: 'keyUp', ...tab }),
    ]);
    await Promise.all(some.flat());
  }
  const { acts, unseen } = await page.evaluate(() => globalThis.met);
  const findings = unseen.map((name) => `no visible focus: ${name}`);
  if (acts !== all) findings.push(`${acts} of ${all} acts met by Tab`);
  return findings;
}

async function look(url, view, options) {
  // The checks are put into the page past its content policy; the view without JavaScript keeps the policy in force.
  const bypassCSP = options.javaScriptEnabled !== false;
  const context = await browser.newContext({ ...options, locale: 'en-GB', bypassCSP });
  const page = await context.newPage();
  const findings = [];
  page.on('pageerror', (error) => findings.push(`script error: ${error}`));
  page.on('console', (message) => message.type() === 'error' && findings.push(`console: ${message.text()}`));
  page.on('request', (request) => {
    if (new URL(request.url()).origin !== new URL(url).origin) findings.push(`asks another host: ${request.url()}`);
  });
  const answer = await page.goto(url, { waitUntil: 'load' });
  const file = `${out}/${new URL(url).pathname.replace(/\W+/g, '-').replace(/^-|-$/g, '') || 'index'}`;
  const picture = async (name) => {
    if (pictures) await page.screenshot({ path: `${file}-${name}.png`, fullPage: true });
  };
  await picture(view);
  const words = (await page.locator('body').innerText()).trim();
  if (bypassCSP) {
    const asked = view === 'dark' ? IN_THE_DARK : EVERYTHING;
    findings.push(...await accessibility(page, asked), ...await page.evaluate(measure, TARGET_PX));
  }
  if (view === 'desktop') {
    if (pictures) await page.pdf({ path: `${file}.pdf`, format: 'A4', preferCSSPageSize: true, tagged: true });
    findings.push(...await keyboard(page));
    await page.setViewportSize(NARROW);
    findings.push(...await page.evaluate(measure, TARGET_PX));
    await picture('narrow');
  }
  await context.close();
  return { status: answer.status(), findings, words };
}

let bad = 0;
for (const url of urls) {
  const seen = {};
  for (const [view, options] of Object.entries(VIEWS)) {
    const { status, findings, words } = await look(url, view, options);
    seen[view] = words;
    if (view === 'nojs' && words !== seen.phone) findings.push('other words without JavaScript');
    console.log(`${findings.length === 0 ? 'good' : 'BAD '} ${status} ${view.padEnd(7)} ${url}`);
    for (const finding of findings) console.log(`       ${finding}`);
    bad += findings.length;
  }
}
await browser.close();
console.log(bad === 0 ? `${urls.length} pages, no finding` : `${bad} findings`);
process.exit(bad === 0 ? 0 : 1);
