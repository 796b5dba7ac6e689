// Requests to the daemon on the same origin. A refusal (RFC 9457) becomes a Problem with the daemon's own sentence and
// hint; silence becomes one too, so that nothing waits for ever.

import { signal } from '@preact/signals';

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

export const get = <T>(path: string): Promise<T> => ask('GET', path);
export const post = <T>(path: string, body: unknown): Promise<T> => ask('POST', path, body);
export const put = <T>(path: string, body: unknown): Promise<T> => ask('PUT', path, body);
export const remove = <T>(path: string, body: unknown): Promise<T> => ask('DELETE', path, body);

/** A name as one part of a path. */
export const part = (name: string): string => encodeURIComponent(name);

/** Whatever was thrown, as a Problem. */
export const asProblem = (error: unknown): Problem =>
  error instanceof Problem ? error : new Problem(0, String(error instanceof Error ? error.message : error));
