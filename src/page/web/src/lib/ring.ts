// The last seconds of a rig's trace: time, least, greatest and mean tension of each reading, in columns of fixed room.
// Newest at the end; views into the columns are handed out, so nothing is allocated while drawing.

export class Ring {
  readonly #t: Float64Array;
  readonly #low: Float64Array;
  readonly #high: Float64Array;
  readonly #mean: Float64Array;
  #start = 0;
  #end = 0;

  /** Keeps at least `room` readings. */
  constructor(readonly room: number) {
    this.#t = new Float64Array(2 * room);
    this.#low = new Float64Array(2 * room);
    this.#high = new Float64Array(2 * room);
    this.#mean = new Float64Array(2 * room);
  }

  get length(): number {
    return this.#end - this.#start;
  }

  /** Time of the newest reading. */
  get newest(): number {
    return this.length > 0 ? (this.#t[this.#end - 1] ?? 0) : 0;
  }

  clear(): void {
    this.#start = 0;
    this.#end = 0;
  }

  /** Takes a reading; time that runs back means another stream, and what was before is dropped. */
  push(t: number, low: number, high: number, mean: number): void {
    if (this.length > 0 && t < this.newest) this.clear();
    if (this.#end === 2 * this.room) {
      for (const column of [this.#t, this.#low, this.#high, this.#mean]) column.copyWithin(0, this.room);
      this.#start = 0;
      this.#end = this.room;
    }
    this.#t[this.#end] = t;
    this.#low[this.#end] = low;
    this.#high[this.#end] = high;
    this.#mean[this.#end] = mean;
    this.#end += 1;
    if (this.length > this.room) this.#start = this.#end - this.room;
  }

  /** Columns of what is not older than `from`: time, least, greatest, mean. */
  since(from: number): [Float64Array, Float64Array, Float64Array, Float64Array] {
    let at = this.#start;
    // The newest half a thousand at most: a search by halves saves nothing that could be seen.
    while (at < this.#end && (this.#t[at] ?? 0) < from) at += 1;
    const cut = (column: Float64Array): Float64Array => column.subarray(at, this.#end);
    return [cut(this.#t), cut(this.#low), cut(this.#high), cut(this.#mean)];
  }
}
