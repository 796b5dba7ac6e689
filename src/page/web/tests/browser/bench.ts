// A bench for the tests: the real daemon on a store of its own, the virtual rig at the other end of a pseudo-terminal, the real
// command line. Each bench ends what it started, by its own handles.
import { type ChildProcess, execFile, spawn } from 'node:child_process';
import { existsSync, mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { createInterface } from 'node:readline';
import { promisify } from 'node:util';

export const WEB = resolve(import.meta.dirname, '../..');
export const REPOSITORY = resolve(WEB, '../../..');
const PROGRAMS = resolve(WEB, process.env['PROGRAMS'] ?? '../../../target/debug');
const NAMES = ['boltscribed', 'boltscribe', 'virtual-rig'] as const;
const SCENARIOS = join(REPOSITORY, 'tools/virtual-rig/scenarios');
const OUTPUT_MAX_BYTES = 32 * 1024 * 1024;
const run = promisify(execFile);

/** The path of a program; a test without programs fails and says how to get them. */
export function program(name: (typeof NAMES)[number]): string {
  const path = join(PROGRAMS, name);
  if (!existsSync(path)) throw new Error(`expected the program ${path}, found none: cargo build --workspace, or PROGRAMS=FOLDER`);
  return path;
}

export const sleep = (ms: number): Promise<void> => new Promise((done) => void setTimeout(done, ms));

/** Asks until there is an answer that is not null or false. */
export async function until<T>(what: string, ask: () => Promise<T | null | false> | T | null | false, within_ms = 15_000): Promise<T> {
  const end = Date.now() + within_ms;
  let last: unknown = null;
  for (;;) {
    try {
      const found = await ask();
      if (found !== null && found !== false) return found;
    } catch (error) {
      last = error;
    }
    if (Date.now() > end) throw new Error(`expected ${what} within ${within_ms} ms, it did not come${last ? `: ${String(last)}` : ''}`);
    await sleep(40);
  }
}

export interface Wanted {
  /** Device seconds in a second here. */
  speed?: number;
  /** File name of a scenario; null: no rig in the settings. */
  scenario?: string | null;
  /** The scenario's text, changed before it is played. */
  change?: (scenario: string) => string;
  /** Put the scenario's bolt, tools, pieces and setups on the shelf. */
  shelf?: boolean;
  /** Tables of the settings behind those of the measuring. */
  settings?: string;
  /** The daemon asks for tokens. */
  tokens?: boolean;
}

/** A step as the rig knows it. */
interface Step {
  setup: string;
  tool: string;
}

export class Bench {
  readonly folder = mkdtempSync(join(tmpdir(), 'boltscribe-page-'));
  readonly settings = join(this.folder, 'boltscribe.toml');
  readonly port = join(this.folder, 'port');
  readonly scenario: string | null;
  address = '';
  readonly #wanted: Wanted;
  #rig: ChildProcess | null = null;
  #daemon: ChildProcess | null = null;
  #log = '';
  #played = 0;
  #steps: Step[] = [];

  private constructor(wanted: Wanted) {
    this.#wanted = wanted;
    this.scenario = wanted.scenario === null ? null : join(SCENARIOS, wanted.scenario ?? 'trial.toml');
  }

  /** A bench with its daemon at work. */
  static async start(wanted: Wanted = {}): Promise<Bench> {
    NAMES.forEach(program);
    const bench = new Bench(wanted);
    try {
      await bench.#begin();
    } catch (error) {
      await bench.end();
      throw error;
    }
    return bench;
  }

  async #begin(): Promise<void> {
    if (this.scenario !== null) await this.startRig();
    await this.#write('127.0.0.1:0');
    if (this.#wanted.tokens) {
      // The file must be there before the daemon asks for what stands in it.
      this.tokens['admin'] = await this.#token('admin', 'correct');
    }
    await this.startDaemon();
    if (this.#wanted.shelf) await this.fillShelf();
  }

  readonly tokens: Record<string, string> = {};

  async #token(name: string, role: string): Promise<string> {
    const said = await this.config('access', 'add', name, '--role', role);
    const found = /[0-9a-zA-Z_-]{40,}/.exec(said);
    if (!found) throw new Error(`expected a token, found: ${said}`);
    return found[0];
  }

  /** A token for a role; kept under the role's name. */
  async addToken(name: string, role: 'view' | 'operate' | 'correct'): Promise<string> {
    return (this.tokens[name] = await this.#token(name, role));
  }

  /** The settings file anew, with this address to listen at. */
  async #write(listen: string): Promise<void> {
    const rig = this.scenario === null ? '' : (await run(program('virtual-rig'), ['setups', this.#file(), '--as', 'settings', '--port', this.port])).stdout;
    const tokens = this.#wanted.tokens ? `tokens_file = "${join(this.folder, 'tokens')}"\n` : '';
    writeFileSync(this.settings, `[daemon]\nlisten = "${listen}"\n${tokens}[store]\nfolder = "${join(this.folder, 'store')}"\n[measure]\ngates_s = [3.0]\n${this.#wanted.settings ?? ''}\n${rig}`);
  }

  #file(): string {
    if (this.scenario === null) throw new Error('this bench has no scenario');
    return this.#wanted.change ? join(this.folder, 'scenario.toml') : this.scenario;
  }

  async startRig(): Promise<void> {
    if (this.#wanted.change && this.scenario !== null) {
      writeFileSync(this.#file(), this.#wanted.change(readFileSync(this.scenario, 'utf8')));
    }
    const rig = spawn(program('virtual-rig'), ['serve', this.#file(), '--link', this.port, '--stepwise', '--speed', String(this.#wanted.speed ?? 20)], { stdio: ['pipe', 'pipe', 'pipe'] });
    this.#rig = rig;
    // An end of the rig in the midst of a line to it is told by the next wait, not by a broken pipe.
    rig.stdin?.on('error', () => undefined);
    rig.stderr?.on('data', (data: Buffer) => (this.#log += data.toString()));
    createInterface({ input: rig.stdout as NodeJS.ReadableStream }).on('line', (line) => {
      if (line.startsWith('{"done"')) this.#played += 1;
    });
    await until('the port of the virtual rig', () => existsSync(this.port));
  }

  /** Ends the rig, as when its plug is pulled. */
  async stopRig(): Promise<void> {
    await ended(this.#rig, 'SIGKILL');
    this.#rig = null;
  }

  async startDaemon(): Promise<void> {
    const daemon = spawn(program('boltscribed'), ['--config', this.settings], { stdio: ['ignore', 'pipe', 'pipe'] });
    this.#daemon = daemon;
    let said = '';
    const hear = (data: Buffer): void => {
      said += data.toString();
      this.#log += data.toString();
    };
    daemon.stdout?.on('data', hear);
    daemon.stderr?.on('data', hear);
    this.address = await until('the address of the daemon', () => {
      if (daemon.exitCode !== null) throw new Error(`the daemon has ended: ${said}`);
      return /listening on (http:\S+)/.exec(said)?.[1] ?? null;
    });
    if (this.scenario !== null && !this.#wanted.tokens) await this.#samples();
  }

  /** Samples must flow before a setup is put in force, or the first run could begin without one. */
  async #samples(): Promise<void> {
    await until('samples of the rig', async () => {
      const { rigs } = await this.get<{ rigs: { rate_hz: number | null; link: string; identity: unknown }[] }>('rigs');
      return rigs[0]?.link === 'up' && rigs[0].rate_hz !== null && rigs[0].identity !== null;
    });
  }

  /** Ends the daemon without a word. */
  async killDaemon(): Promise<void> {
    await ended(this.#daemon, 'SIGKILL');
    this.#daemon = null;
  }

  /** Starts the daemon again where it listened before. */
  async startAgain(): Promise<void> {
    await this.#write(new URL(this.address).host);
    await this.startDaemon();
  }

  async fillShelf(): Promise<void> {
    const { stdout } = await run(program('virtual-rig'), ['setups', this.#file(), '--as', 'arguments']);
    for (const line of stdout.split('\n').filter(Boolean)) await this.cli('setup', ...line.split('\t'), '--who', 'bench');
  }

  /** The command line on this bench's store; what it printed. Code 1 says no and is an answer. */
  cli(...words: string[]): Promise<string> {
    return this.#tell(['--store', join(this.folder, 'store'), ...words]);
  }

  /** The same, by the settings file. */
  config(...words: string[]): Promise<string> {
    return this.#tell(['--config', this.settings, ...words]);
  }

  async #tell(words: string[]): Promise<string> {
    try {
      return (await run(program('boltscribe'), words, { maxBuffer: OUTPUT_MAX_BYTES })).stdout;
    } catch (error) {
      const { code, stdout, stderr } = error as { code?: number; stdout?: string; stderr?: string };
      if (code === 1 && stdout) return stdout;
      throw new Error(`boltscribe ${words.join(' ')}: ${stderr ?? String(error)}`);
    }
  }

  async json<T>(...words: string[]): Promise<T> {
    return JSON.parse(await this.cli('--format', 'json', ...words)) as T;
  }

  async get<T>(path: string): Promise<T> {
    const response = await fetch(`${this.address}/api/v1/${path}`);
    if (!response.ok) throw new Error(`${path}: ${response.status} ${await response.text()}`);
    return (await response.json()) as T;
  }

  /** Lets the rig play the step of a setup and a tool; done when it was played to its end. */
  async play(setup: string, tool = 'wrench 1'): Promise<void> {
    const before = this.#played;
    await this.begin(setup, tool);
    await until(`the end of ${setup}`, () => this.#played > before, 20_000);
  }

  /** The same, without waiting for its end. */
  async begin(setup: string, tool = 'wrench 1'): Promise<void> {
    if (this.#steps.length === 0) this.#steps = await this.#repertoire();
    const at = this.#steps.findIndex((step) => step.setup === setup && step.tool === tool);
    if (at < 0) throw new Error(`the rig plays no ${setup} of ${tool}`);
    this.#rig?.stdin?.write(`go ${at}\n`);
  }

  async #repertoire(): Promise<Step[]> {
    return readFileSync(this.#file(), 'utf8')
      .split('[[steps]]')
      .slice(1)
      .map((text) => ({ setup: /setup = "(.*)"/.exec(text)?.[1] ?? '', tool: /tool = "(.*)"/.exec(text)?.[1] ?? '' }));
  }

  /** Waits for so many runs with all their figures. */
  async landed(runs: number): Promise<void> {
    await until(`${runs} runs in the store`, async () => {
      const found = await this.get<{ runs: { excluded: boolean }[] }>('runs?limit=200');
      const { rigs } = await this.get<{ rigs: { running: number | null }[] }>('rigs');
      return found.runs.length >= runs && rigs[0]?.running === null;
    });
  }

  /** What the programs said, for a test that failed. */
  get log(): string {
    return this.#log;
  }

  async end(): Promise<void> {
    await ended(this.#daemon, 'SIGTERM');
    await ended(this.#rig, 'SIGKILL');
    rmSync(this.folder, { recursive: true, force: true });
  }
}

async function ended(child: ChildProcess | null, signal: NodeJS.Signals): Promise<void> {
  if (child === null || child.exitCode !== null || child.signalCode !== null) return;
  const gone = new Promise<void>((done) => void child.once('exit', () => done()));
  child.kill(signal);
  const hard = setTimeout(() => child.kill('SIGKILL'), 5000);
  await gone;
  clearTimeout(hard);
}

/** Where pictures of the views go. */
export function shots(): string {
  const folder = join(REPOSITORY, 'target/page-shots');
  mkdirSync(folder, { recursive: true });
  return folder;
}
