// How large characters must be to be read from a distance. h = 2 D tan(angle / 2).

/** Width of a bank card, ISO/IEC 7810 ID-1. */
export const CARD_MM = 85.6;
/** The main number: 30 minutes of arc, for glare and motion. */
export const NUMBER_MINUTES = 30.25;
/** Text: 20 minutes of arc, the preferred height of ISO 9241. */
export const TEXT_MINUTES = 20;
/** CSS px a mm where nobody held a card to the screen: the nominal 96 an inch. */
export const NOMINAL_PX_PER_MM = 96 / 25.4;
/** The number is never smaller than this where the screen has room, however near the reader. */
export const LEAST_NUMBER_PX = 72;

/** Height in mm of a character of so many minutes of arc at a distance. */
export function height_mm(distance_m, minutes) {
  return 2000 * distance_m * Math.tan((minutes / 60) * (Math.PI / 360));
}

/**
 * Sizes for a screen.
 * @param {{distance_m: number, px_per_mm: ?number}} settings
 * @param {{ratio: number, width_px: number, number_ems: number}} screen `ratio`: height of a digit
 *   by font size; `number_ems`: width of the longest number by font size
 * @returns {{number_px: number, text_px: number, readable_m: number}} font sizes; `readable_m`: how
 *   far the number can be read, where the screen is too narrow for what was asked
 */
export function sizes(settings, { ratio, width_px, number_ems }) {
  const px = settings.px_per_mm ?? NOMINAL_PX_PER_MM;
  const want = (height_mm(settings.distance_m, NUMBER_MINUTES) * px) / ratio;
  const fits = width_px / number_ems;
  const number_px = Math.max(32, Math.min(Math.max(want, LEAST_NUMBER_PX), fits));
  const text = (height_mm(settings.distance_m, TEXT_MINUTES) * px) / ratio;
  return {
    number_px,
    text_px: Math.max(16, Math.min(text, width_px / 14)),
    readable_m: (number_px * ratio) / px / height_mm(1, NUMBER_MINUTES),
  };
}
