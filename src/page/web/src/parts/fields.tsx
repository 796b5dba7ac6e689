// Fields for gloves: big tiles instead of small boxes, steppers instead of typing where that helps, and the daemon's
// refusal at the field it speaks of.
import type { ComponentChildren } from 'preact';
import { useId } from 'preact/hooks';
import type { Problem } from '../lib/api.ts';
import { who } from '../lib/prefs.ts';

interface Labelled {
  label: string;
  /** Words that the daemon's refusals use for this field. */
  says?: readonly string[];
  problem?: Problem | null;
  hint?: string;
}

/** The refusal, if it speaks of this field. */
export function speaksOf(problem: Problem | null | undefined, says: readonly string[] | undefined): string | null {
  if (!problem || !says) return null;
  return says.some((word) => problem.detail.includes(word)) ? problem.detail : null;
}

function Around({ label, hint, fault, id, children }: { label: string; hint?: string; fault: string | null; id: string; children: ComponentChildren }) {
  return (
    <div class={fault ? 'field wrong' : 'field'}>
      <label for={id}>{label}</label>
      {children}
      {hint && <p class="hint" id={`${id}-hint`}>{hint}</p>}
      {fault && <p class="fault" id={`${id}-fault`}>{fault}</p>}
    </div>
  );
}

interface TextField extends Labelled {
  value: string;
  change: (value: string) => void;
  numeric?: boolean;
  unit?: string;
  required?: boolean;
}

/** A line of text, or a number with its unit beside it. */
export function Text({ label, value, change, numeric, unit, hint, says, problem, required }: TextField) {
  const id = useId();
  const fault = speaksOf(problem, says);
  const described = [hint ? `${id}-hint` : '', fault ? `${id}-fault` : ''].filter(Boolean).join(' ');
  return (
    <Around label={unit ? `${label}, ${unit}` : label} hint={hint} fault={fault} id={id}>
      <input
        id={id}
        type="text"
        value={value}
        required={required}
        inputMode={numeric ? 'decimal' : 'text'}
        autocomplete="off"
        spellcheck={false}
        aria-invalid={fault ? 'true' : undefined}
        aria-describedby={described || undefined}
        onInput={(event) => change(event.currentTarget.value)}
      />
    </Around>
  );
}

/** Who does it; every change carries a name. Kept on this device. */
export const Who = ({ problem }: { problem?: Problem | null }) => (
  <Text label="Your name" value={who.value} change={(name) => (who.value = name)} says={['who:']} problem={problem} required />
);

interface Choice<T extends string> extends Labelled {
  value: T | null;
  change: (value: T) => void;
  options: readonly { value: T; label: string; note?: string | undefined }[];
}

/** One of a few, as tiles. */
export function Tiles<T extends string>({ label, value, change, options, hint, says, problem }: Choice<T>) {
  const name = useId();
  const fault = speaksOf(problem, says);
  return (
    <fieldset class={fault ? 'field wrong' : 'field'} aria-describedby={fault ? `${name}-fault` : undefined}>
      <legend>{label}</legend>
      {hint && <p class="hint">{hint}</p>}
      <div class="tiles">
        {options.map((option) => (
          <label class="tile" key={option.value}>
            <input type="radio" name={name} checked={value === option.value} onChange={() => change(option.value)} />
            <span class="tile-words">
              {option.label}
              {option.note && <small>{option.note}</small>}
            </span>
          </label>
        ))}
      </div>
      {fault && <p class="fault" id={`${name}-fault`}>{fault}</p>}
    </fieldset>
  );
}

interface Several extends Labelled {
  values: readonly string[];
  toggle: (value: string) => void;
  options: readonly { value: string; label: string; note?: string | undefined }[];
}

/** Several of a few, as tiles. */
export function TileSet({ label, values, toggle, options, hint, says, problem }: Several) {
  const id = useId();
  const fault = speaksOf(problem, says);
  return (
    <fieldset class={fault ? 'field wrong' : 'field'} aria-describedby={fault ? `${id}-fault` : undefined}>
      <legend>{label}</legend>
      {hint && <p class="hint">{hint}</p>}
      <div class="tiles">
        {options.map((option) => (
          <label class="tile" key={option.value}>
            <input type="checkbox" checked={values.includes(option.value)} onChange={() => toggle(option.value)} />
            <span class="tile-words">
              {option.label}
              {option.note && <small>{option.note}</small>}
            </span>
          </label>
        ))}
      </div>
      {fault && <p class="fault" id={`${id}-fault`}>{fault}</p>}
    </fieldset>
  );
}

/** A small whole number, with a button at either side for gloves. */
export function Stepper({ label, value, change, least, most, hint, says, problem }: Labelled & { value: string; change: (value: string) => void; least: number; most: number }) {
  const id = useId();
  const fault = speaksOf(problem, says);
  const move = (by: number): void => change(String(Math.min(most, Math.max(least, (number(value) || 0) + by))));
  return (
    <Around label={label} hint={hint} fault={fault} id={id}>
      <div class="stepper">
        <button type="button" aria-label={`${label}: one less`} onClick={() => move(-1)}>−</button>
        <input id={id} type="text" value={value} inputMode="numeric" autocomplete="off" aria-invalid={fault ? 'true' : undefined} aria-describedby={[hint ? `${id}-hint` : '', fault ? `${id}-fault` : ''].filter(Boolean).join(' ') || undefined} onInput={(event) => change(event.currentTarget.value)} />
        <button type="button" aria-label={`${label}: one more`} onClick={() => move(1)}>+</button>
      </div>
    </Around>
  );
}

interface Pick extends Labelled {
  value: string;
  change: (value: string) => void;
  options: readonly { value: string; label: string }[];
}

/** One of many. */
export function Select({ label, value, change, options, hint, says, problem }: Pick) {
  const id = useId();
  return (
    <Around label={label} hint={hint} fault={speaksOf(problem, says)} id={id}>
      <select id={id} value={value} onChange={(event) => change(event.currentTarget.value)}>
        {options.map((option) => (
          <option key={option.value} value={option.value}>
            {option.label}
          </option>
        ))}
      </select>
    </Around>
  );
}

/** A typed number with a decimal point; null for nothing, NaN for what is none. */
export function number(text: string): number | null {
  const trimmed = text.trim();
  if (trimmed === '') return null;
  return /^[-+]?(\d+\.?\d*|\.\d+)(e[-+]?\d+)?$/i.test(trimmed) ? Number(trimmed) : Number.NaN;
}
