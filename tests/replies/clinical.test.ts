import { describe, expect, it } from 'vitest'
import { read } from './reading.ts'

// Bleeding for more than 8 days is prolonged: FIGO 2018 (Munro, Int J Gynaecol Obstet 143:393). Post-menopausal,
// post-coital and intermenstrual bleeding want assessment: Cancer Council Australia, National Cervical Screening
// Program guidelines. 55 years as the age from which a bleed is one after the menopause: common practice, no source.
describe('bleeding that is not only a start', () => {
  it.each([
    ['en', 'been bleeding for 20 days', 'period-started'],
    ['en', 'on my period for 18 days', 'period-started'],
    ['en', 'still bleeding after 12 days', 'still-bleeding'],
    ['en', 'My period started on March 1 and I am still bleeding', 'period-started'],
    ['en', 'bleeding since February 20', 'period-started'],
    ['en', 'my period has lasted 3 weeks', 'unclear'],
    ['en', 'my period wont end', 'unclear'],
    ['en', 'second period this month', 'unclear'],
    ['en', 'got my second period this month', 'unclear'],
    ['en', 'got my period after 2 years', 'period-started'],
    ['en', 'my period came back after 14 months', 'period-started'],
    ['en', '70 yrs old and got my period yesterday lol', 'period-started'],
    ['en', 'started bleeding, I am 62', 'period-started'],
    ['en', "I'm 58 and my period started today", 'period-started'],
    ['en', 'bleeding started yesterday and its not my period', 'period-started'],
    ['en', 'my period started yesterday really heavy soaking through everything', 'period-started'],
    ['en', 'Had an abortion on monday and im bleeding', 'still-bleeding'],
    ['en', 'had a baby 3 weeks ago still bleeding', 'still-bleeding'],
    ['en', 'had a biopsy last week and now bleeding', 'still-bleeding'],
    ['en', 'period started yesterday, passing tissue', 'period-started'],
    ['en', 'the bleeding is awful, I want it to stop', 'unclear'],
    ['en', 'I had a hysterectomy but I am bleeding', 'still-bleeding'],
    ['fr', 'je saigne depuis 15 jours', 'period-started'],
    ['fr', 'mes règles ont commencé hier et je saigne à travers tout', 'period-started'],
    ['fr', 'mes règles durent depuis 3 semaines', 'still-bleeding'],
    ['fr', 'mes règles sont revenues après 2 ans', 'period-started'],
    ['es', 'llevo 15 días sangrando', 'period-started'],
    ['es', 'me bajó ayer, tengo 60 años', 'period-started'],
    ['es', 'me bajó la regla después de 2 años', 'period-started'],
    ['uk', 'місячні почалися вчора, мені 60 років', 'period-started'],
    ['pa', 'ਮਾਹਵਾਰੀ ਅੱਜ ਸ਼ੁਰੂ ਹੋਈ, ਮੇਰੀ ਉਮਰ 60 ਸਾਲ ਹੈ', 'period-started'],
  ])('is marked for a person today, and keeps its meaning: %s "%s"', (language, text, meaning) => {
    const reading = read(text, { language })
    expect(reading.clinical).toBe('bleeding')
    expect([meaning, 'urgent']).toContain(reading.meaning)
  })

  it.each([
    'my period started yesterday',
    'been bleeding for 3 days',
    'still bleeding',
    'on my period since Sunday',
    'not soaking through, just light',
    "I'm 62 minutes away",
    'period started on March 1',
    'I am 34 and my period started today',
    'STARTED',
    'it was over after 5 days',
    'got my period 2 weeks ago',
    'started 10 days ago',
    "I'll be there",
    'my appointment is at 2',
    'Thanks!',
  ])('is not marked where it is an ordinary one: "%s"', (text) => expect(read(text).clinical).toBeUndefined())

  it('that the patient wants to stop is no wish to get no more texts', () => {
    for (const text of [
      'the bleeding is awful, I want it to stop',
      'So much pain, please make it stop',
      'bleeding for days, I want this to stop',
    ]) {
      const { meaning, also = [] } = read(text)
      expect([meaning, ...also], text).not.toContain('stop')
    }
    expect(read('je saigne, je veux que ça arrête', { language: 'fr' }).meaning).not.toBe('stop')
    expect(read('I want these texts to stop').meaning).toBe('stop')
    expect(read('I want this to stop').meaning).toBe('stop')
    expect(read('STOP. my period started').also ?? []).toBeDefined()
    expect(read('Stop texting me about my period').meaning).toBe('stop')
  })
})

describe('a patient without a cervix or uterus, or who is a man', () => {
  it.each([
    ['en', "I don't have a cervix"],
    ['en', 'I dont have a uterus anymore'],
    ['en', "I'm a man, please don't call me she"],
    ['en', "I'm not a woman"],
    ['en', 'I am a trans man'],
    ['en', 'my cervix was removed'],
    ['en', "I'm a man"],
    ['fr', 'je n’ai plus d’utérus'],
    ['fr', 'je suis un homme'],
    ['es', 'ya no tengo útero'],
    ['es', 'soy hombre'],
    ['uk', 'у мене немає матки'],
    ['uk', 'я чоловік'],
    ['pa', 'ਮੇਰੀ ਬੱਚੇਦਾਨੀ ਨਹੀਂ ਹੈ'],
    ['pa', 'ਮੈਂ ਮਰਦ ਹਾਂ'],
  ])('is no wrong number, but for a clinician: %s "%s"', (language, text) => {
    expect(read(text, { language })).toMatchObject({ meaning: 'unclear', clinical: 'anatomy' })
  })

  it.each([
    ['en', 'my new number is 613 555 0142'],
    ['en', 'This is my new number by the way'],
    ['en', 'I got a new phone'],
    ['fr', "c ma fille qui a ses règles aujourd'hui pas moi"],
    ['fr', 'voici mon nouveau numéro'],
    ['es', 'este es mi número nuevo'],
    ['en', "I haven't made an appointment"],
    ['en', "I'm a patient"],
  ])('nor is one who has a new number or speaks of a daughter: %s "%s"', (language, text) => {
    const { meaning, also = [] } = read(text, { language })
    expect([meaning, ...also]).not.toContain('wrong-person')
  })

  it.each([
    ['en', 'wrong number'],
    ['en', "I'm a man, you have the wrong number"],
    ['en', "I'm not your patient"],
    ['en', 'I just got this number'],
    ['fr', 'je suis un homme, mauvais numéro'],
    ['fr', 'nouveau propriétaire de ce numéro'],
    ['es', 'soy hombre, número equivocado'],
  ])('a wrong number with its word is still one: %s "%s"', (language, text) => {
    expect(read(text, { language }).meaning).toBe('wrong-person')
  })
})

describe('prescribed medicine', () => {
  it.each([
    ['en', 'I used my prescribed estrogen cream last night'],
    ['en', 'used the antibiotic cream my doctor prescribed'],
    ['en', 'used my HRT cream'],
    ['en', 'I used my vaginal estrogen last night'],
    ['en', 'put in the suppository the doctor gave me'],
    ['en', 'I used prescription cream yesterday'],
    ['fr', 'j’ai mis la crème prescrite par mon médecin'],
    ['fr', 'j’ai utilisé mon ovule prescrit hier'],
    ['fr', "j'ai mis ma crème aux œstrogènes"],
    ['es', 'usé la crema que me recetó el doctor'],
    ['es', 'me puse mi crema de estrógenos anoche'],
    ['uk', 'використала крем, який призначив лікар'],
    ['pa', 'ਡਾਕਟਰ ਦੀ ਦਿੱਤੀ ਕਰੀਮ ਲਗਾਈ'],
  ])('is no lapse: %s "%s"', (language, text) => {
    const { meaning, also = [], clinical } = read(text, { language })
    expect([meaning, ...also]).not.toContain('prep-lapse')
    expect(clinical).toBe('prescribed')
  })

  it('on the arm is neither', () => {
    const reading = read('I used steroid cream on my arm')
    expect(reading.meaning).toBe('unclear')
    expect(reading.clinical).toBeUndefined()
  })

  it('does not excuse what else was done', () => {
    expect(read('we had sex last night and I used my prescribed cream')).toMatchObject({
      meaning: 'prep-lapse',
      clinical: 'prescribed',
    })
    expect(read('I used a cream yesterday')).toMatchObject({ meaning: 'prep-lapse' })
    expect(read('I used lube. My doctor prescribed pills in May').meaning).toBe('prep-lapse')
  })

  it.each([
    ['en', 'I stopped my estrogen like you said'],
    ['en', 'I stopped my blood thinner like you said'],
    ['en', 'stopped taking my meds'],
    ['fr', "j'ai arrêté mon anticoagulant"],
    ['es', 'dejé de tomar mi anticoagulante'],
    ['uk', 'перестала приймати ліки'],
    ['pa', 'ਮੈਂ ਦਵਾਈ ਬੰਦ ਕਰ ਦਿੱਤੀ'],
  ])('that was stopped is for a clinician: %s "%s"', (language, text) => {
    expect(read(text, { language })).toMatchObject({ meaning: 'unclear', clinical: 'stopped-medicine' })
  })
})
