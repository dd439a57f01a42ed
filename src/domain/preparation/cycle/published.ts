/**
 * Every number the forecast rests on, with the published figure behind it. None is fitted to a data set of cycles.
 * "Read from" means taken over; "set so that" means chosen to reproduce the figure (tests/preparation/cycle checks that
 * it does); "judgement" means that no published figure was found.
 */

/** Cycles shorter or longer than this are not modelled; Chiazze 1968, JAMA 203:377: 95 % lie in 15-45 days. */
export const SHORTEST_MODELLED_DAYS = 12
export const LONGEST_MODELLED_DAYS = 120

/**
 * Usual length by age (years, days): the middle of the ordinary cycles, before the long tail lifts the mean by about
 * half a day. Slope between 25 and 45: -0.15 d a year, between -0.18 (Bull 2019, npj Digit Med 2:83) and -0.12 (Belsey
 * & Pinol 1997, Contraception 55:57: 29.0 d at 20, 26.7 at 40, 29 at 49). Level set so that the mean at 29 is 28.9
 * (Fehring 2006, JOGNN 35:376). After 45 it is mostly the tail that lengthens.
 */
export const USUAL_LENGTH_BY_AGE: readonly (readonly [number, number])[] = [
  [15, 30.1],
  [20, 29.8],
  [25, 29.2],
  [30, 28.4],
  [35, 27.7],
  [40, 26.9],
  [45, 26.3],
  [50, 27.5],
  [55, 28.5],
]

/**
 * How much more a woman's cycles vary than at 35-39, by age. Li 2023, npj Digit Med 6:100: +46 % under 20, +45 % at
 * 45-49, +200 % over 50, lowest at 35-39; between 20 and 35 falling as in Chiazze 1968.
 */
export const VARIATION_BY_AGE: readonly (readonly [number, number])[] = [
  [17, 1.46],
  [22, 1.25],
  [27, 1.12],
  [32, 1.04],
  [37, 1],
  [42, 1.12],
  [47, 1.45],
  [52, 3],
]

/**
 * Assumed when the age is not known: the mean age in Fehring 2006. The spread of usual lengths grows by that of ages.
 */
export const AGE_IF_UNKNOWN = 30
export const EXTRA_SPREAD_IF_AGE_UNKNOWN = 1

/**
 * Two kinds of cycle. Set together so that simulated cycles give: SD 3.95 within 15-45 d (Chiazze 1968); 92-95 % within
 * 22-36 d and a range over 7 d in about 42 % (Fehring 2006); a range of 7 d or more in 46 % and of 14 d or more in 20 %
 * (Creinin 2004, Contraception 70:289, six cycles a woman); a yearly range of about 7 d at 38 (Belsey & Pinol 1997).
 */
export const WOMEN = [
  /** Ordinary: usual lengths lie close together, cycles vary by about two days. */
  { share: 0.9, shift: 0, betweenSd: 2.1, withinMedian: 1.95, withinLogSd: 0.42 },
  /** Variable: longer, further apart, varying by about five days. */
  { share: 0.1, shift: 1.5, betweenSd: 4.5, withinMedian: 4.4, withinLogSd: 0.45 },
] as const

/**
 * The long right tail (Harlow & Zeger 1991, J Clin Epidemiol 44:1015; Guo 2006, Biostatistics 7:100: a normal part and
 * a shifted Weibull). Shape 1, so exponential; the share grows with a woman's variation; set with the figures above.
 */
export const TAIL = { shareAtTwoDays: 0.015, power: 1.3, largestShare: 0.2, meanDays: 12 } as const

/** Cycles cut short by 3-12 days: judgement, kept below the 1.5 % of women under 21 d in Wood 1979, ANZJOG 19:107. */
export const SHORT = { share: 0.01, fromDays: 3, toDays: 12 } as const

/** Chance that a recorded length is two cycles because one start was not written down: judgement. */
export const SKIPPED_ENTRY = 0.03
/** Floor for a recorded length that fits nothing, so that one typing error cannot overturn all else: judgement. */
export const MISRECORDED = 2e-5

/**
 * What a stated usual length is worth. Reports agree only moderately with diaries (kappa 0.33, 0.45 when allowed for
 * sampling) and are 0.7 d too long (Jukic 2008, Am J Epidemiol 167:25); means agree and stated lengths have SD 2.7
 * (Creinin 2004). The errors' shape is judgement: most people know it well, the others guess.
 */
export const STATED = { bias: 0.3, knowsShare: 0.6, knowsSd: 1.2, guessSd: 3.5 } as const
/** Some say 28 because everyone does: judgement; why Jukic's women, 37-39 with cycles near 27 d, overstate. */
export const SAYS_28 = { share: 0.2, reachSd: 3.5 } as const

/**
 * Chance of calling oneself irregular by one's own variation (SD, days). Weller 1998, J Psychosom Obstet Gynaecol
 * 19:111: of those calling themselves regular 82 % were, of those calling themselves irregular 44 % were.
 */
export const SAYS_IRREGULAR = { least: 0.18, rise: 0.45, halfwaySd: 4 } as const

/**
 * Length of a bleed: mean 5.2 d, SD 1.0 between patients (Creinin 2004); spread set so that about 3 % exceed 7 d (Wood
 * 1979).
 */
export const BLEED = { meanDays: 5.1, sdDays: 1.35, longestDays: 12 } as const

/**
 * With scheduled bleeds the calendar decides; spread, share of missed bleeds and of women who have stopped are
 * judgement.
 */
export const SCHEDULED = {
  usual: 28,
  shifts: [-1, 0, 1],
  shiftShares: [0.14, 0.7, 0.14],
  spread: 1.1,
  missedBleed: 0.04,
  stopped: 0.02,
} as const

/** How often the LMP told is really the latest period when nobody asked "has a new one begun?": judgement. */
export const TOLD_IS_LATEST = 0.85
