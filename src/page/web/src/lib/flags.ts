// What each flag of a run means, in the words of src/analysis/results/flags.rs; a test holds the two tables together.

export interface FlagWords {
  leavesOut: boolean;
  words: string;
}

export const FLAGS: Record<string, FlagWords> = {
  'clipped': { leavesOut: true, words: 'samples stood at the end of the converter\'s range, so tension may have been higher' },
  'gap': { leavesOut: false, words: 'samples are missing inside the run, or were false for a moment; the peak is a lower bound' },
  'spike': { leavesOut: false, words: 'wild samples were removed' },
  'short': { leavesOut: true, words: 'the tool drove for less than the configured shortest time' },
  'unsettled': { leavesOut: true, words: 'less than 0.2 s of settled tension was left after the last blow' },
  're-pulled': { leavesOut: false, words: 'the tool was pulled again before the release; measures are of the first pull' },
  'blows-weak': { leavesOut: false, words: 'ringing is under 6 times the noise, so the count of blows is doubtful' },
  'blows-unsure': { leavesOut: false, words: 'two ways of counting the blows differ by more than 1 %, so no count is given' },
  'start-unsure': { leavesOut: false, words: 'the first blow cannot be told from the signal, so gates are given only where that does not matter, and the drive time is an estimate' },
  'end-estimated': { leavesOut: false, words: 'single blows are not seen, or not surely the last: the last blow and the drive time are estimates' },
  'end-unsure': { leavesOut: true, words: 'the signal does not tell when the tool stopped, so the held tension may be of another moment' },
  'peak-unsure': { leavesOut: false, words: 'a single sample makes the peak, and hardly another one stands out as far: it may be a wild one, and the peak too high' },
  'zero-shift': { leavesOut: false, words: 'the idle reading has moved away from the rig\'s zero' },
  'seated': { leavesOut: true, words: 'small tension without blows upon which the tool drove later: it looks like a nut seated by hand' },
  'interrupted': { leavesOut: true, words: 'the recording began or ended, or the device restarted, inside the run' },
  'over-limit': { leavesOut: false, words: 'tension passed the test bolt\'s allowed tension: stop and inspect the bolt' },
  'no-limit': { leavesOut: false, words: 'no allowed tension is set for the test bolt' },
  'no-tool': { leavesOut: true, words: 'the rig was said to have no tool coupled: a calibration, a push by hand or a trial pull' },
  'untagged': { leavesOut: true, words: 'no setup was in force at the first blow' },
  'setup-changed': { leavesOut: true, words: 'the setup in force was changed during the run' },
  'cold': { leavesOut: true, words: 'the rig was not warmed up yet' },
  'expired': { leavesOut: false, words: 'the calibration\'s validity has passed' },
  'nominal': { leavesOut: false, words: 'the calibration is nominal: absolute figures are approximate' },
  'bolt-due': { leavesOut: false, words: 'the test bolt\'s factor is due to be measured again' },
  'not-fresh': { leavesOut: false, words: 'the energy source was not fresh' },
  'by-hand': { leavesOut: false, words: 'the reading was typed from a dial' },
  'clock-suspect': { leavesOut: false, words: 'the host\'s clock was stepped; durations are not affected' },
  'device-clock': { leavesOut: true, words: 'the device\'s clock and the computer\'s disagree over the run by more than 0.2 % and 30 ms, so times, gates and what is read at a time are doubtful' },
};

/** A flag as a sentence; one of a newer program by its name. */
export const flagWords = (flag: string): string => FLAGS[flag]?.words ?? flag;
