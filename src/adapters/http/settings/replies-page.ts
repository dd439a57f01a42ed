import { correctedTexts } from '../../../flows/replies/corrected-texts.ts'
import type { Answer, PageContent } from '../desk/page-context.ts'
import { html } from '../pages/html.ts'
import type { SettingsContext } from './settings-context.ts'
import type { SettingsPages } from './settings-pages.ts'

export function mountReplies(pages: SettingsPages): void {
  pages.get('replies', repliesPage)
  pages.get('replies/corrected', download)
}

/** What the desk has put right teaches: the texts can be taken away, without names, and scored. */
async function repliesPage({ deps }: SettingsContext): Promise<PageContent> {
  const { length } = await correctedTexts(deps.store.read)
  return {
    title: 'Replies',
    here: 'replies',
    body: html`<p>${
      length === 0
        ? 'No reply has been read otherwise by a person yet.'
        : `${length === 1 ? 'One reply was' : `${length.toLocaleString('en')} replies were`} read otherwise by a person.`
    } Their texts show where Daysix reads wrongly. They can be taken away as a file, without the names and numbers that
Daysix knows. Other private words may stand in them: read it before you pass it on. What retention or an erasure has
taken away is not in it.</p>
${length > 0 && html`<p><a class="button" href="/settings/replies/corrected">Take the file away</a></p>`}
<p>Whoever runs the service scores it with <code>daysix read-reply --score FILE</code>.</p>`,
  }
}

async function download({ deps, now }: SettingsContext): Promise<Answer> {
  const lines = await correctedTexts(deps.store.read)
  const file = `replies-read-otherwise-${now.toISOString().slice(0, 10)}.tsv`
  const content = lines.map((line) => `${line}\n`).join('')
  return { file, type: 'text/tab-separated-values; charset=utf-8', content, shows: [] }
}
