// Requests to the daemon on the same origin. A refusal (RFC 9457) becomes a Problem with the daemon's own sentence and
// hint; silence becomes one too, so that nothing waits for ever.

import { signal } from '@preact/signals';
import type { Answers } from './answers.ts';

/** The daemon asks for a token that this device does not have. */
export const signedOut = signal(false);

export class Problem extends Error {
  constructor(
    readonly status: number,
    readonly detail: string,
    readonly hint: string | null = null,
  ) {
    super(detail);
  }
}

/** Longer than the daemon takes for its longest answer, listening at a port. */
const ANSWER_WITHIN_MS = 12_000;
export const ROOT = '/api/v1';

type Method = 'GET' | 'POST' | 'PUT' | 'DELETE';

async function ask<T>(method: Method, path: string, body?: unknown): Promise<T> {
  const request: RequestInit = { method, signal: AbortSignal.timeout(ANSWER_WITHIN_MS), cache: 'no-store' };
  if (body !== undefined) {
    request.body = JSON.stringify(body);
    request.headers = { 'content-type': 'application/json' };
  }
  let response: Response;
  let document: unknown;
  try {
    response = await fetch(`${ROOT}/${path}`, request);
    document = await response.json();
  } catch {
    throw new Problem(0, 'the daemon does not answer', 'is boltscribed running, and is this device connected?');
  }
  if (response.ok) return document as T;
  if (response.status === 401 && !(method === 'POST' && path === 'session')) signedOut.value = true;
  const problem = document as { detail?: string; hint?: string };
  throw new Problem(response.status, problem.detail ?? `the daemon answered ${response.status}`, problem.hint ?? null);
}

type Segments<P extends string> = P extends `${infer First}/${infer Rest}` ? [First, ...Segments<Rest>] : [P];
type WithoutQuery<P extends string> = P extends `${infer Path}?${string}` ? Path : P;
/** Whether a path has the segments of one in the document, where `{name}` stands for any. */
type Fits<Of extends string[], P extends string[]> = Of extends [infer A extends string, ...infer As extends string[]]
  ? P extends [infer B extends string, ...infer Bs extends string[]]
    ? A extends `{${string}}` ? Fits<As, Bs> : B extends A ? Fits<As, Bs> : false
    : false
  : P extends [] ? true : false;

/** What the daemon's document says that a path answers. Nobody else says it: a call names no type. */
export type Answer<M extends Method, P extends string> = P extends P
  ? { [K in keyof Answers]: K extends `${M} ${infer Of}` ? (Fits<Segments<Of>, Segments<WithoutQuery<P>>> extends true ? Answers[K] : never) : never }[keyof Answers]
  : never;
type Known<M extends Method, P extends string> = [Answer<M, P>] extends [never] ? 'expected a path of the document' : unknown;

export const get = <const P extends string>(path: P & Known<'GET', P>): Promise<Answer<'GET', P>> => ask('GET', path);
export const post = <const P extends string>(path: P & Known<'POST', P>, body: unknown): Promise<Answer<'POST', P>> => ask('POST', path, body);
export const put = <const P extends string>(path: P & Known<'PUT', P>, body: unknown): Promise<Answer<'PUT', P>> => ask('PUT', path, body);
export const remove = <const P extends string>(path: P & Known<'DELETE', P>, body: unknown): Promise<Answer<'DELETE', P>> => ask('DELETE', path, body);

/** A name as one part of a path. */
export const part = (name: string): string => encodeURIComponent(name);

/** Whatever was thrown, as a Problem. */
export const asProblem = (error: unknown): Problem =>
  error instanceof Problem ? error : new Problem(0, String(error instanceof Error ? error.message : error));
