import type { Language } from '../../../domain/messages/texts/library.ts'
import { Html, html, type Child } from './html.ts'

export interface PageFrame {
  /** BCP 47. */
  lang: string
  direction: 'ltr' | 'rtl'
  title: string
  /** Class of the body, for the style sheet. */
  kind: string
  body: Child
  /** The style sheet itself, for a page that is opened as a file; missing = linked. */
  css?: string
}

/** One entry of a language switch, in the language's own name. */
export function languageLink(
  { code, name, locale }: Pick<Language, 'code' | 'name' | 'locale'>,
  path: string,
  shown: string,
): Html {
  const current = code === shown && html` aria-current="true"`
  return html`<li><a href="${path}?lang=${code}" lang="${locale}" hreflang="${locale}"${current}>${name}</a></li>\n`
}

/**
 * A whole document: no script, nothing from elsewhere, not for search engines, tells no other site where the patient
 * came from.
 */
export function layout({ lang, direction, title, kind, body, css }: PageFrame): Html {
  return html`<!doctype html>
<html lang="${lang}" dir="${direction}">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="robots" content="noindex, nofollow, noarchive">
<meta name="referrer" content="no-referrer">
<meta name="format-detection" content="telephone=no">
<title>${title}</title>
${css === undefined ? html`<link rel="stylesheet" href="/assets/daysix.css">` : styleOf(css)}
</head>
<body class="${kind}">
${body}
</body>
</html>
`
}

/** A style sheet holds quotes and arrows that must not be escaped, and nothing that could end it early. */
function styleOf(css: string): Html {
  return new Html(`<style>${css.replaceAll('</', '<\\/')}</style>`)
}
