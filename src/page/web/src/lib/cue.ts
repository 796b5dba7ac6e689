// Sound and touch for what the daemon told. The screen says all of it as well: beside a loud tool nobody hears this for
// certain. Tones lie between 0.8 and 3 kHz. Nothing sounds until a person has switched it on.
import { sound } from './prefs.ts';

export type Cue = 'gate' | 'measured' | 'warning' | 'test';

/** Hertz and seconds, one after the other. */
const TONES: Record<Cue, readonly (readonly [number, number])[]> = {
  gate: [[1000, 0.12], [1600, 0.22]],
  measured: [[1200, 0.3]],
  warning: [[2400, 0.15], [900, 0.15], [2400, 0.15], [900, 0.3]],
  test: [[1000, 0.12], [1600, 0.22]],
};
const PULSES_MS: Record<Cue, number[]> = { gate: [120, 60, 120], measured: [200], warning: [300, 100, 300, 100, 300], test: [120] };

let context: AudioContext | null = null;

/** To be called from a touch or a key: browsers ask for one. */
export async function switchSound(on: boolean): Promise<void> {
  sound.value = on;
  if (!on) return;
  context ??= new AudioContext();
  await context.resume();
  cue('test');
}

export function cue(what: Cue): void {
  if (!sound.value || !context) return;
  let at = context.currentTime + 0.01;
  for (const [hertz, seconds] of TONES[what]) {
    const tone = context.createOscillator();
    const gain = context.createGain();
    tone.type = 'square';
    tone.frequency.value = hertz;
    gain.gain.setValueAtTime(0.0001, at);
    gain.gain.exponentialRampToValueAtTime(0.25, at + 0.01);
    gain.gain.setValueAtTime(0.25, at + seconds - 0.02);
    gain.gain.exponentialRampToValueAtTime(0.0001, at + seconds);
    tone.connect(gain).connect(context.destination);
    tone.start(at);
    tone.stop(at + seconds);
    at += seconds + 0.03;
  }
  if ('vibrate' in navigator) navigator.vibrate(PULSES_MS[what]);
}
