// Live parts of the desk's pages. Everything works without this file; with it a page fetches itself anew when something changed.
(() => {
  const live = () => document.querySelector('[data-live]')
  const bar = () => document.getElementById('changed')

  // Nobody who types, or is in the middle of choosing, has the page changed under her hands.
  const busy = (part) => part.querySelector('details[open] form') !== null || (part.contains(document.activeElement) && document.activeElement.matches('input, select, textarea'))

  const refresh = () => {
    const part = live()
    if (!part) return
    if (busy(part)) bar().hidden = false
    else window.htmx.trigger(part, 'news')
  }

  document.addEventListener('htmx:afterSwap', () => {
    const said = document.getElementById('said')
    if (bar()) bar().hidden = true
    if (said && live()) said.textContent = `Brought up to date at ${new Date().toLocaleTimeString('en-GB')}.`
  })

  document.addEventListener('click', (event) => {
    if (event.target.closest('[data-refresh]')) {
      bar().hidden = true
      window.htmx.trigger(live(), 'news')
    }
    if (event.target.closest('[data-print]')) window.print()
  })

  // A page that the browser kept, and shows again on the way back, may hold what was typed of somebody else.
  window.addEventListener('pageshow', (event) => event.persisted && window.location.reload())

  if (live()) {
    const source = new EventSource('/desk/events')
    source.addEventListener('news', refresh)
    // Other processes change things too, and a connection may be down: look once a minute in any case.
    setInterval(refresh, 60_000)
  }
})()
