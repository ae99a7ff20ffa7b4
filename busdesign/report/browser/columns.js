"use strict";

// Columns of numbers, as the page carries them: base64 of deflated little-endian numbers, bytes laid out by their place.

const SIZES = { u8: 1, u16: 2, u32: 4, f64: 8 };

async function unpack(packed) {
  const size = SIZES[packed.kind];
  const laid = new Uint8Array(await inflated(packed.bytes));
  const bytes = new Uint8Array(laid.length);
  for (let place = 0; place < size; place++) {
    const from = place * packed.count;
    for (let index = 0; index < packed.count; index++) bytes[index * size + place] = laid[from + index];
  }
  const column = asNumbers(packed.kind, bytes.buffer);
  if (packed.kind === "f64") return column;
  return restored(column, packed);
}

async function inflated(text) {
  const coded = atob(text);
  const bytes = new Uint8Array(coded.length);
  for (let index = 0; index < coded.length; index++) bytes[index] = coded.charCodeAt(index);
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate"));
  return new Response(stream).arrayBuffer();
}

function asNumbers(kind, buffer) {
  if (kind === "u8") return new Uint8Array(buffer);
  if (kind === "u16") return new Uint16Array(buffer);
  return kind === "u32" ? new Uint32Array(buffer) : new Float64Array(buffer);
}

// Distances become places again; the few numbers beyond 32 bits are put back. A float holds 2^53 ns, 104 days, exactly.
function restored(column, packed) {
  if (!packed.ascending && packed.far.length === 0) return column;
  const values = Float64Array.from(column);
  for (const [index, value] of packed.far) values[index] = value;
  if (packed.ascending) {
    for (let index = 1; index < values.length; index++) values[index] += values[index - 1];
  }
  return values;
}

// The first place in an ascending column, between low and high, whose value is beyond the wanted one.
function placeAfter(column, wanted, low = 0, high = column.length) {
  while (low < high) {
    const middle = (low + high) >>> 1;
    if (column[middle] <= wanted) low = middle + 1;
    else high = middle;
  }
  return low;
}
