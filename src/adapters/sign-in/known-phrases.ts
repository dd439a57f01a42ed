/**
 * Passphrases that everybody knows, so that guessing begins with them: from pictures and advice about passwords, from
 * rhymes, sayings, films, first lines. Small letters, no spaces. An estimator that counts words takes them for strong.
 */
export const KNOWN_PHRASES: readonly string[] = `
correcthorsebatterystaple correcthorsebattery horsebatterystaple batterystaple staplebatteryhorsecorrect
tr0ub4dor thequickbrownfox quickbrownfox jumpsoverthelazydog lazydog loremipsum dolorsitamet
onceuponatime happilyeverafter tobeornottobe thatisthequestion maytheforcebewithyou theforcebewithyou
twinkletwinklelittlestar marryhadalittlelamb maryhadalittlelamb humptydumpty jackandjill rowrowrowyourboat
happybirthdaytoyou happynewyear merrychristmas letitbe letmein openthedoor opensesame abracadabra
iloveyou iloveyousomuch iloveyouforever ihatepasswords thisismypassword mypassword mynewpassword newpassword
passwordpassword passwordone changeme changethis donotusethis pleaseletmein idontknow iforgotmypassword
nobodyknows trustnoone trustno1 winteriscoming elementarymydearwatson beammeup toinfinityandbeyond
thereisnoplacelikehome houstonwehaveaproblem callmeishmael itwasthebestoftimes allyouneedislove
anappleaday earlybird practicemakesperfect timeismoney knowledgeispower honestyisthebestpolicy
allthatglitters abirdinthehand betterlatethannever actionsspeaklouder rosesareredvioletsareblue
thecatinthehat greeneggsandham winniethepooh peterpiper itsybitsyspider threelittlepigs
godblessamerica godsavetheking godsavethequeen wethepeople fourscoreandsevenyears ihaveadream
abcdefghijklmnopqrstuvwxyz qwertyuiop asdfghjkl zxcvbnm qazwsxedc onetwothree redbluegreen
secretpassword topsecret supersecret administrator welcomehome goodmorning goodnight helloworld
frontdesk receptionist clinicclinic doctordoctor nursenurse hospital appointment
motdepasse jetaime contraseña teamomucho ichliebedich passwort
`
  .trim()
  .split(/\s+/)
