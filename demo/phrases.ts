/** What the invented patients write, in each language of the texts. */
interface Phrases {
  started: string
  puzzle: string
  yes: string
  alarm: string
  cannotCome: string
  unsure: string
}

const IN: Readonly<Record<string, Phrases>> = {
  en: {
    started: 'my period started this morning',
    puzzle: 'is it ok if my sister parks behind the bakery',
    yes: 'yes',
    alarm: "I'm soaking a pad every hour and I feel faint",
    cannotCome: "sorry, I can't come that day",
    unsure: 'hmm not sure about this one, my aunt might need the boat',
  },
  fr: {
    started: 'mes règles ont commencé ce matin',
    puzzle: 'est-ce que ma sœur peut se garer derrière la boulangerie',
    yes: 'oui',
    alarm: 'je remplis une serviette toutes les heures et je me sens faible, je vais m’évanouir',
    cannotCome: 'désolée, je ne peux pas venir ce jour-là',
    unsure: 'hmm je ne sais pas trop, ma tante aura peut-être besoin du bateau',
  },
  es: {
    started: 'me vino la regla esta mañana',
    puzzle: 'mi hermana puede estacionar detrás de la panadería?',
    yes: 'sí',
    alarm: 'estoy empapando una toalla cada hora y me siento desmayar',
    cannotCome: 'lo siento, no puedo ir ese día',
    unsure: 'mmm no sé, quizás mi tía necesite la lancha',
  },
  uk: {
    started: 'місячні почалися сьогодні вранці',
    puzzle: 'чи може моя сестра поставити машину за пекарнею',
    yes: 'так',
    alarm: 'дуже сильна кровотеча, прокладка щогодини, втрачаю свідомість',
    cannotCome: 'вибачте, я не можу прийти того дня',
    unsure: 'хм не знаю, може тітці буде потрібен човен',
  },
  pa: {
    started: 'ਅੱਜ ਸਵੇਰੇ ਮੇਰੀ ਮਾਹਵਾਰੀ ਸ਼ੁਰੂ ਹੋ ਗਈ',
    puzzle: 'ਕੀ ਮੇਰੀ ਭੈਣ ਬੇਕਰੀ ਦੇ ਪਿੱਛੇ ਗੱਡੀ ਖੜ੍ਹੀ ਕਰ ਸਕਦੀ ਹੈ',
    yes: 'ਹਾਂ',
    alarm: 'ਬਹੁਤ ਜ਼ਿਆਦਾ ਖੂਨ ਵਗ ਰਿਹਾ ਹੈ, ਹਰ ਘੰਟੇ ਪੈਡ ਭਰ ਜਾਂਦਾ ਹੈ, ਚੱਕਰ ਆ ਰਹੇ ਹਨ',
    cannotCome: 'ਮਾਫ਼ ਕਰਨਾ, ਮੈਂ ਉਸ ਦਿਨ ਨਹੀਂ ਆ ਸਕਦੀ',
    unsure: 'ਪਤਾ ਨਹੀਂ, ਸ਼ਾਇਦ ਮਾਸੀ ਨੂੰ ਕਿਸ਼ਤੀ ਚਾਹੀਦੀ ਹੋਵੇ',
  },
}

export const phrasesIn = (language: string): Phrases => IN[language] ?? IN.en!
