// Rounding for print, on the shortest decimals of a number, never on its binary expansion.

/** Round to `places` decimals (may be negative), ties to even. Returns text without a sign of zero. */
export function rounded(value, places) {
  const { digits, exponent, negative } = apart(value);
  const shift = exponent + places; // digits * 10^exponent, wanted in units of 10^-places
  let whole;
  if (shift >= 0) whole = digits * 10n ** BigInt(shift);
  else {
    const unit = 10n ** BigInt(-shift), rest = digits % unit;
    whole = digits / unit;
    if (2n * rest > unit || (2n * rest === unit && whole % 2n === 1n)) whole += 1n;
  }
  return written(whole, places, negative);
}

/**
 * Places that two significant digits of U need, and U rounded upward, unless what is cut off is
 * at most 0.05 of one unit of the last digit (GUM 7.2.6 leaves this to common sense).
 */
export function expanded(U, significant = 2) {
  const { digits, exponent } = apart(U);
  if (digits === 0n) return { places: 3, text: "0.000" };
  const length = digits.toString().length;
  let places = -(exponent + length - significant);
  let whole = upward(digits, exponent + places);
  if (whole.toString().length > significant) {
    places -= 1;
    whole = upward(digits, exponent + places);
  }
  return { places, text: written(whole, places, false) };
}

function upward(digits, shift) {
  if (shift >= 0) return digits * 10n ** BigInt(shift);
  const unit = 10n ** BigInt(-shift), rest = digits % unit;
  return digits / unit + (20n * rest > unit ? 1n : 0n);
}

/** Take a number apart: digits * 10^exponent. */
function apart(value) {
  const [mantissa, power] = Math.abs(value).toExponential().split("e");
  const [whole, decimals = ""] = mantissa.split(".");
  return { digits: BigInt(whole + decimals), exponent: Number(power) - decimals.length, negative: value < 0 };
}

function written(whole, places, negative) {
  const sign = negative && whole !== 0n ? "-" : "";
  if (places <= 0) return sign + (whole * 10n ** BigInt(-places)).toString();
  const text = whole.toString().padStart(places + 1, "0");
  return `${sign}${text.slice(0, -places)}.${text.slice(-places)}`;
}
