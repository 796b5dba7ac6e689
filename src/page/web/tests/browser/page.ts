// Chromium for the tests, and the watch on each page: a console error or warning, an error of the page, a failed request or one
// to another host fails the test. What a test provokes on purpose it names beforehand.
import assert from 'node:assert/strict';
import { existsSync } from 'node:fs';
import { join } from 'node:path';
import { type Browser, type BrowserContext, chromium, type Locator, type Page, type Request } from 'playwright-core';
import { type Bench, until, WEB } from './bench.ts';

const CHROMIUM = process.env['CHROMIUM'] ?? '/usr/bin/chromium';
const FLAGS = ['--headless', '--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking', '--disable-component-update', '--disable-sync'];
const STEP_WITHIN_MS = 15_000;

/** The sizes that the page is made for: the narrowest, a phone, a tablet on its stand. CSS pixels. */
export const SIZES = { narrow: { width: 320, height: 640 }, phone: { width: 390, height: 844 }, tablet: { width: 1180, height: 820 } } as const;
export type Size = keyof typeof SIZES;

export async function launch(): Promise<Browser> {
  if (!existsSync(CHROMIUM)) throw new Error(`expected a browser at ${CHROMIUM}, found none: apt-get install chromium, or CHROMIUM=PATH`);
  return chromium.launch({ executablePath: CHROMIUM, args: FLAGS });
}

export interface Opened {
  size?: Size;
  theme?: 'light' | 'dark';
  units?: 'SI' | 'US';
  who?: string;
  pedal?: 'on' | 'off';
  /** Statuses that are provoked from the start. */
  provoke?: readonly number[];
}

/** What a test provokes: answers with these statuses, or a daemon that is away. */
interface Provoked {
  statuses: Set<number>;
  away: boolean;
}

export class Watched {
  readonly troubles: string[] = [];
  readonly #provoked: Provoked = { statuses: new Set(), away: false };
  readonly #underWay = new Set<Request>();
  #leaving = false;

  private constructor(
    readonly page: Page,
    readonly context: BrowserContext,
    readonly origin: string,
    readonly close: () => Promise<void>,
  ) {}

  /** A new device at this bench, at this part of the address. */
  static async open(browser: Browser, bench: Bench, at = '', wanted: Opened = {}): Promise<Watched> {
    const dev = process.env['PAGE_DEV'] === '1' ? await developing(bench.address) : null;
    const origin = dev?.origin ?? bench.address;
    const context = await browser.newContext({ viewport: SIZES[wanted.size ?? 'tablet'], hasTouch: true, colorScheme: wanted.theme ?? 'light', reducedMotion: 'reduce', locale: 'en-GB' });
    context.setDefaultTimeout(STEP_WITHIN_MS);
    await context.addInitScript((kept) => {
      for (const [key, value] of kept) if (localStorage.getItem(key) === null) localStorage.setItem(key, value);
    }, prefs(wanted));
    const page = await context.newPage();
    const watched = new Watched(page, context, origin, async () => {
      await context.close();
      await dev?.close();
    });
    watched.provoke(...(wanted.provoke ?? []));
    watched.#listen();
    const answer = await page.goto(`${origin}/#/${at}`);
    assert.equal(answer?.status(), 200);
    return watched;
  }

  #listen(): void {
    const { page } = this;
    const host = new URL(this.origin).host;
    page.on('console', (message) => {
      if (!['error', 'warning'].includes(message.type())) return;
      const text = message.text();
      const status = /responded with a status of (\d+)/.exec(text)?.[1];
      if (status !== undefined && this.#provoked.statuses.has(Number(status))) return;
      const away = /net::ERR_|WebSocket connection to|status of 5\d\d/.test(text);
      if (!(this.#provoked.away && away)) this.troubles.push(`console ${message.type()}: ${text}`);
    });
    page.on('pageerror', (error) => void this.troubles.push(`page error: ${error.message}`));
    page.on('requestfailed', (request) => {
      this.#underWay.delete(request);
      const given = this.#leaving && request.failure()?.errorText === 'net::ERR_ABORTED';
      if (!this.#provoked.away && !given) this.troubles.push(`request failed: ${request.method()} ${request.url()}: ${request.failure()?.errorText}`);
    });
    const local = (url: string): void => {
      const found = new URL(url);
      if (!['data:', 'blob:'].includes(found.protocol) && found.host !== host) this.troubles.push(`request to another host: ${url}`);
    };
    page.on('request', (request) => {
      this.#underWay.add(request);
      local(request.url());
    });
    page.on('requestfinished', (request) => void this.#underWay.delete(request));
    page.on('websocket', (socket) => local(socket.url()));
  }

  /** From here on the daemon is expected to answer with these statuses too. */
  provoke(...statuses: number[]): void {
    for (const status of statuses) this.#provoked.statuses.add(status);
  }

  /** The daemon is away from here on, or is there again. */
  away(is: boolean): void {
    this.#provoked.away = is;
  }

  async go(at: string): Promise<void> {
    await this.page.evaluate((hash) => void (location.hash = hash), `#/${at}`);
  }

  /** Waits until nothing is asked for any more and what came is drawn: the view has the height that it keeps. */
  async settled(): Promise<void> {
    let before = -1;
    await until('a view that stays as it is', async () => {
      if (this.#underWay.size > 0) return false;
      const now = await this.page.evaluate(() => new Promise<number>((done) => requestAnimationFrame(() => requestAnimationFrame(() => done(document.documentElement.scrollHeight)))));
      const same = now === before && this.#underWay.size === 0;
      before = now;
      return same;
    });
  }

  /** The same view anew; what was under way is given up. */
  async reload(): Promise<void> {
    this.#leaving = true;
    await this.page.reload();
    this.#leaving = false;
  }

  button(name: string | RegExp): Locator {
    return this.page.getByRole('button', { name, exact: typeof name === 'string' });
  }

  /** A tile of a group of tiles. */
  tile(group: string, name: string): Locator {
    return this.page.getByRole('group', { name: group, exact: true }).locator('label.tile').filter({ has: this.page.locator(`.tile-words`, { hasText: new RegExp(`^${name.replace(/[/+.*]/g, '\\$&')}`) }) }).locator('input');
  }

  /** Follows a link and waits for the heading of the view that it leads to: until then the view left behind still answers. */
  async follow(link: Locator, heading: string | RegExp): Promise<void> {
    await link.tap();
    await this.page.getByRole('heading', { level: 1, name: heading }).waitFor();
  }

  field(name: string): Locator {
    return this.page.getByRole('textbox', { name, exact: true });
  }

  /** Waits for words somewhere on the view. */
  async says(words: string | RegExp, within_ms = STEP_WITHIN_MS): Promise<void> {
    await this.page.getByText(words).first().waitFor({ state: 'visible', timeout: within_ms });
  }

  /** The refusal stands at this field, and the field says that it is wrong. */
  async atField(field: Locator, words: RegExp): Promise<void> {
    await until(`a refusal at its field, ${words}`, async () => {
      if ((await field.getAttribute('aria-invalid')) !== 'true') return false;
      const described = (await field.getAttribute('aria-describedby'))?.split(' ').at(-1) ?? '';
      return words.test(await this.page.locator(`[id="${described}"]`).innerText());
    });
  }

  /** The refusal stands at this group of tiles. */
  async atTiles(group: string, words: RegExp): Promise<void> {
    await this.page.getByRole('group', { name: group, exact: true }).locator('.fault', { hasText: words }).waitFor();
  }

  /** Tab by tab to what has this name, as somebody without a pointer goes. */
  async tabTo(name: string | RegExp, most = 120): Promise<void> {
    const wanted = typeof name === 'string' ? new RegExp(`^\\s*${name}\\s*$`) : name;
    for (let at = 0; at < most; at += 1) {
      await this.page.keyboard.press('Tab');
      const now = await this.page.evaluate(() => document.activeElement?.getAttribute('aria-label') ?? document.activeElement?.textContent ?? '');
      if (wanted.test(now)) return;
    }
    throw new Error(`expected ${wanted} within ${most} presses of Tab`);
  }

  /** Fails on whatever was in the console or went wrong. */
  clean(): void {
    assert.deepEqual(this.troubles, []);
  }

  /** The end of a device: all must have been quiet. */
  async end(): Promise<void> {
    // What was under way is given up with the page.
    this.#leaving = true;
    await this.close();
    this.clean();
  }
}

function prefs(wanted: Opened): [string, string][] {
  const all: [string, string | undefined][] = [['units', wanted.units], ['theme', wanted.theme], ['who', wanted.who], ['pedal', wanted.pedal]];
  return all.flatMap(([key, value]) => (value === undefined ? [] : [[`boltscribe.${key}`, value] as [string, string]]));
}

/** While the page is changed: its sources by Vite, in front of the daemon. */
async function developing(daemon: string): Promise<{ origin: string; close: () => Promise<void> }> {
  process.env['BOLTSCRIBE'] = daemon;
  const { createServer } = await import('vite');
  const server = await createServer({ root: WEB, configFile: join(WEB, 'vite.config.ts'), logLevel: 'error', server: { port: 0, hmr: false } });
  await server.listen();
  const address = server.httpServer?.address();
  if (address === null || address === undefined || typeof address === 'string') throw new Error('the development server tells no port');
  return { origin: `http://127.0.0.1:${address.port}`, close: () => server.close() };
}

/** The page must be the built one, not the stub that says how to build it. */
export async function isReal(bench: Bench): Promise<void> {
  const response = await fetch(`${bench.address}/api/v1/status`);
  const status = (await response.json()) as { page_built?: boolean };
  assert.equal(status.page_built, true, 'the programs carry no built page: npm run build in src/page/web, then cargo build');
}

/** Each state that the band has shown since, in order; short ones too. */
export async function watchBand(page: Page): Promise<() => Promise<string[]>> {
  await page.evaluate(() => {
    const seen: string[] = [];
    Object.assign(window, { bandSeen: seen });
    const look = (): void => {
      const now = document.getElementById('state')?.dataset['state'];
      if (now !== undefined && seen.at(-1) !== now) seen.push(now);
    };
    new MutationObserver(look).observe(document.documentElement, { subtree: true, childList: true, attributes: true, attributeFilter: ['data-state'] });
    look();
  });
  return () => page.evaluate(() => (window as unknown as { bandSeen: string[] }).bandSeen);
}
