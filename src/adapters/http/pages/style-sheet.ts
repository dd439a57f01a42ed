import { fileURLToPath } from 'node:url'

/** The style sheet of the patient's page and the contact sheet, served at `/assets/daysix.css`. */
export const STYLE_SHEET = fileURLToPath(new URL('daysix.css', import.meta.url))
