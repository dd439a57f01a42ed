// Live parts of the desk's pages. Everything works without this file; with it a page fetches itself anew when something changed.
;(() => {
  const live = () => document.querySelector('[data-live]')
  const bar = () => document.getElementById('changed')

  // Nobody who types, or is in the middle of choosing, has the page changed under her hands.
  const busy = (part) =>
    part.querySelector('details[open] form') !== null ||
    (part.contains(document.activeElement) && document.activeElement.matches('input, select, textarea'))

  const refresh = () => {
    const part = live()
    if (!part) return
    if (busy(part)) bar().hidden = false
    else window.htmx.trigger(part, 'news')
  }

  // Beside what was just done, which stays to be read.
  document.addEventListener('htmx:afterSwap', ({ detail }) => {
    const time = detail.xhr.getResponseHeader('X-Clinic-Time')
    if (bar()) bar().hidden = true
    if (time && live()) document.getElementById('fresh').textContent = `Brought up to date at ${time}.`
  })

  // Calls to be made and alarms, on every page and in its title.
  const SOUND = 'daysix-sound'
  const isOn = () => localStorage.getItem(SOUND) === 'on'
  const sound = document.querySelector('[data-sound]')
  const number = (id) => Number(document.getElementById(id)?.dataset.watched ?? 0)
  let leads = false

  const beep = () => {
    const context = new AudioContext()
    const tone = context.createOscillator()
    tone.connect(context.destination)
    tone.start()
    tone.stop(context.currentTime + 0.4)
    tone.onended = () => context.close()
  }

  const take = (now) => {
    for (const id of ['call-count', 'alarms']) {
      const [old, fresh] = [document.getElementById(id), now.getElementById(id)]
      if (!old || !fresh || old.dataset.watched === fresh.dataset.watched) continue
      if (id === 'alarms' && leads && isOn() && Number(fresh.dataset.watched) > number(id)) beep()
      old.dataset.watched = fresh.dataset.watched
      old.replaceChildren(...fresh.childNodes)
    }
    const calls = number('call-count')
    document.title = (calls > 0 ? `(${calls}) ` : '') + document.title.replace(/^\(\d+\) /, '')
  }

  const watch = async () => {
    const { watch: at } = document.body.dataset
    const answer = at && (await fetch(at).catch(() => null))
    if (answer?.ok) take(new DOMParser().parseFromString(await answer.text(), 'text/html'))
  }

  if (sound) {
    sound.checked = isOn()
    sound.closest('.sound').hidden = false
    sound.addEventListener('change', () => {
      localStorage.setItem(SOUND, sound.checked ? 'on' : 'off')
      if (sound.checked) beep()
    })
  }

  document.addEventListener('click', (event) => {
    if (event.target.closest('[data-refresh]')) {
      bar().hidden = true
      window.htmx.trigger(live(), 'news')
    }
    if (event.target.closest('[data-print]')) window.print()
  })

  // Single keys, where nobody types.
  const keys = document.getElementById('keys')
  const inUse = () => localStorage.getItem('daysix-keys') !== 'off'
  // Whoever is in the middle of a form does not lose it by a key.
  let typed = false
  document.addEventListener(
    'input',
    ({ target }) => (typed ||= target.form?.matches('[method=post]:not([role=search])') === true),
  )
  const press = (key) => {
    if (key === '?') return keys.showModal()
    const link = document.querySelector(`nav [data-key="${CSS.escape(key)}"]`)
    const field = key === '/' && document.getElementById('q')
    if (field) field.focus()
    else if (link && !typed) window.location.assign(key === '/' ? `${link.href}#q` : link.href)
  }
  if (keys) {
    const use = keys.querySelector('[data-use-keys]')
    use.checked = inUse()
    use.addEventListener('change', () => localStorage.setItem('daysix-keys', use.checked ? 'on' : 'off'))
    const opener = document.querySelector('[data-keys]')
    opener.parentElement.hidden = false
    opener.addEventListener('click', () => keys.showModal())
    document.addEventListener('keydown', (event) => {
      const elsewhere = event.ctrlKey || event.metaKey || event.altKey || event.isComposing || keys.open
      if (elsewhere || !inUse() || event.target.closest('input, select, textarea')) return
      if (event.key === '?' || event.key === '/' || event.key === 'b') {
        event.preventDefault()
        press(event.key)
      }
    })
  }
  if (window.location.hash === '#q') document.getElementById('q')?.focus()

  // Where the service does not answer, what was typed stays on the page.
  const answers = () =>
    fetch('/health/live', { cache: 'no-store' }).then(
      ({ ok }) => ok,
      () => false,
    )
  const asking = new WeakSet()
  const alive = new WeakSet()
  document.addEventListener('submit', async (event) => {
    const form = event.target
    if (form.method !== 'post' || event.defaultPrevented || alive.delete(form)) return
    event.preventDefault()
    if (asking.has(form)) return
    asking.add(form)
    const ready = await answers()
    asking.delete(form)
    document.getElementById('away').hidden = ready
    if (!ready) return
    alive.add(form)
    form.requestSubmit(event.submitter)
  })

  // A page that the browser kept, and shows again on the way back, may hold what was typed of somebody else.
  window.addEventListener('pageshow', (event) => event.persisted && window.location.reload())

  // What was done is not done again by looking again.
  const [visit] = performance.getEntriesByType('navigation')
  if (visit?.type === 'reload') document.getElementById('said')?.replaceChildren()

  const hear = () => {
    refresh()
    void watch()
  }

  if (live() || document.body.dataset.watch) {
    const others = new BroadcastChannel('daysix-news')
    others.addEventListener('message', hear)
    // One of the pages that a browser has open listens for all: it has few connections to one site.
    const listen = () =>
      new Promise(() => {
        leads = true
        const source = new EventSource('/desk/events')
        // What came after the page was made, and before anybody listened.
        source.addEventListener('open', () => void watch())
        source.addEventListener('news', () => {
          others.postMessage('news')
          hear()
        })
      })
    if (navigator.locks) void navigator.locks.request('daysix-events', listen)
    else void listen()
    // Other processes change things too, and a connection may be down: look once a minute in any case.
    setInterval(hear, 60_000)
  }
})()
