/**
 * How words of calls are to be said: digits, days, months, times, and words of a clinic. In the phonemes that espeak-ng
 * prints (`--ipa`, without secondary stress), whose habits of writing they follow: ɥ is y in French, t͡ʃ and d͡ʒ are c
 * and ɟ in Punjabi. The values are from memory of common dictionaries; each was looked at, and where the engine said
 * another, `templates/LANGUAGE/spoken.yaml` mends it. No native speaker has heard them.
 */
export const PRONUNCIATIONS: Record<string, string> = {
  en: `
    0 = zˈiəɹoʊ; 1 = wˈʌn; 2 = tˈuː; 3 = θɹˈiː; 4 = fˈoːɹ; 5 = fˈaɪv; 6 = sˈɪks; 7 = sˈɛvən;
    8 = ˈeɪt; 9 = nˈaɪn; 10 = tˈɛn; 12 = twˈɛlv; 15 = fˈɪftiːn; 20 = twˈɛnti; 30 = θˈɜːɾi;
    Monday = mˈʌndeɪ; Tuesday = tˈuːzdeɪ; Wednesday = wˈɛnzdeɪ; Thursday = θˈɜːzdeɪ;
    Friday = fɹˈaɪdeɪ; Saturday = sˈæɾɚdeɪ; Sunday = sˈʌndeɪ; January = dʒˈænjuːɛɹi;
    February = fˈɛbɹuːɛɹi; March = mˈɑːɹtʃ; April = ˈeɪpɹəl; May = mˈeɪ; June = dʒˈuːn;
    July = dʒuːlˈaɪ; August = ˈɔːɡəst; September = sɛptˈɛmbɚ; October = ɑːktˈoʊbɚ;
    November = noʊvˈɛmbɚ; December = dᵻsˈɛmbɚ; March 20 = mˈɑːɹtʃ twˈɛnti; 8:30 = ˈeɪt θˈɜːɾi;
    10:30 = tˈɛn θˈɜːɾi; noon = nˈuːn; in the morning = ɪnðə mˈɔːɹnɪŋ;
    in the afternoon = ɪnðɪ æftɚnˈuːn; in the evening = ɪnðɪ ˈiːvnɪŋ; clinic = klˈɪnɪk;
    visit = vˈɪzɪt; specimen = spˈɛsɪmən; harbour = hˈɑːɹbɚ; period = pˈiəɹɪəd; medicine = mˈɛdəsən;
    appointment = ɐpˈɔɪntmənt; nurse = nˈɜːs; press 1 = pɹˈɛs wˈʌn; lubricant = lˈuːbɹɪkənt;
    spermicide = spˈɜːmɪsaɪd;`,
  fr: `
    0 = zeʁˈo; 1 = ˈœ̃; 2 = dˈø; 3 = tʁwˈa; 4 = kˈatʁ; 5 = sˈɛ̃k; 6 = sˈis; 7 = sˈɛt; 8 = yˈit;
    9 = nˈœf; 10 = dˈis; 12 = dˈuz; 15 = kˈɛ̃z; 20 = vˈɛ̃; 30 = tʁˈɑ̃t; 71 = swasɑ̃teˈɔ̃z;
    80 = katʁəvˈɛ̃; 90 = katʁəvɛ̃dˈis; lundi = lœ̃dˈi; mardi = maʁdˈi; mercredi = mɛʁkʁədˈi;
    jeudi = ʒødˈi; vendredi = vɑ̃dʁədˈi; samedi = samdˈi; dimanche = dimˈɑ̃ʃ; janvier = ʒɑ̃vjˈe;
    février = fevʁiˈe; mars = mˈaʁs; avril = avʁˈil; mai = mˈɛ; juin = ʒyˈɛ̃; juillet = ʒyijˈɛ;
    août = ˈut; septembre = sɛptˈɑ̃bʁ; octobre = ɔktˈɔbʁ; novembre = novˈɑ̃bʁ; décembre = desˈɑ̃bʁ;
    premier mars = pʁəmjˈe mˈaʁs; 20 mars = vˈɛ̃ mˈaʁs; 8 heures = yˈit ˈœʁ; neuf heures = nˈœv ˈœʁ;
    dix-neuf heures = dˈiznˈœv ˈœʁ; 10 heures 30 = dˈiz ˈœʁ tʁˈɑ̃t; midi = midˈi;
    clinique = klinˈik; visite = vizˈit; règles = ʁˈɛɡl; médicament = medikamˈɑ̃;
    infirmière = ɛ̃fiʁmjˈɛʁ; rendez-vous = ʁɑ̃dˈevˈu; prélèvement = pʁelɛvmˈɑ̃;`,
  es: `
    0 = sˈeɾo; 1 = ˈuno; 2 = dˈos; 3 = tɾˈes; 4 = kwˈatɾo; 5 = sˈinko; 6 = sˈeɪs; 7 = sjˈete;
    8 = ˈotʃo; 9 = nwˈeβe; 10 = djˈɛs; 12 = dˈose; 15 = kˈinse; 20 = bˈeɪnte; 30 = tɾˈeɪnta;
    lunes = lˈunes; martes = mˈaɾtes; miércoles = mjˈeɾkoles; jueves = xwˈeβes; viernes = bjˈeɾnes;
    sábado = sˈaβaðo; domingo = domˈiŋɡo; enero = enˈeɾo; febrero = feβɾˈeɾo; marzo = mˈaɾso;
    abril = aβɾˈil; mayo = mˈaʝo; junio = xˈunjo; julio = xˈuljo; agosto = aɣˈosto;
    septiembre = septjˈembɾe; octubre = oktˈuβɾe; noviembre = noβjˈembɾe; diciembre = disjˈembɾe;
    20 de marzo = bˈeɪnte ðe mˈaɾso; a la una = a la ˈuna; a las 10 y media = a las ðjˈɛs i mˈeðja;
    y cuarto = i kwˈaɾto; al mediodía = al meðjoðˈia; de la mañana = de la maɲˈana;
    de la tarde = de la tˈaɾðe; de la noche = de la nˈotʃe; clínica = klˈinika; visita = bisˈita;
    cita = sˈita; regla = rˈeɣla; enfermera = emfeɾmˈeɾa; medicamento = meðikamˈɛnto;
    muestra = mwˈestɾa; marque = mˈaɾke; llame = ʝˈame;`,
  uk: `
    0 = nˈuɭj; 1 = odˈin; 2 = dvˈɑ; 3 = trˈi; 4 = tʃotˈiri; 5 = pjˈatʲ; 6 = ʃˈisʲtʲ; 7 = sʲˈim;
    8 = vˈisʲim; 9 = dˈevjatʲ; 10 = dˈesjatʲ; 30 = trˈidtsjatʲ; понеділок = ponedˈiɭok;
    вівторок = viutˈorok; середа = seredˈɑ; четвер = tʃetvˈer; п’ятниця = pjˈatnitsja;
    субота = subˈota; неділя = nidˈiɭja; січня = sˈitʃʲnja; лютого = ɭjˈutoho; березня = bˈereznja;
    квітня = kvˈitnja; травня = trˈɑvnja; червня = tʃʲˈervnja; липня = ɭˈipnja; серпня = sˈerpnja;
    вересня = vˈeresnja; жовтня = ʒˈoutnja; листопада = ɭistopˈɑda; грудня = hrˈudnja;
    перше = pˈerʃɛ; друге = drˈuhe; третє = trˈetje; четверте = tʃetvˈerte; п’яте = pjˈate;
    шосте = ʃˈoste; сьоме = sʲˈome; восьме = vˈosʲme; дев’яте = devjˈate; десяте = desjˈate;
    дванадцяте = dvanˈɑdtsjate; двадцяте = dvadtsjˈate; тридцяте = tridtsjˈate;
    двадцять перше = dvˈɑdtsjat pˈerʃɛ; 12:30 = dvanˈɑdtsjatʲ trˈidtsjatʲ;
    10:30 = dˈesjatʲ trˈidtsjatʲ; вечора = vˈetʃora; клініка = kɭˈinika; візит = vizˈit;
    місячні = mˈisjatʃni; ліки = ɭˈiki; лікар = ɭˈikar; медсестра = medsestrˈɑ;`,
  pa: `
    0 = zˈiro; 1 = ˈɪkː; 2 = dˈo; 3 = tˈɪ̃n; 4 = cˈar; 5 = pˈʌnɟ; 6 = cʰˈe; 7 = sˈʌtː; 8 = ˈʌʈʰʈʰ;
    9 = nˈɔ̃; 10 = dˈʌs; 12 = bˈarã; 15 = pˈʌndərã; 20 = vˈih; 30 = tˈih; ਸੋਮਵਾਰ = somvˈaɾ;
    ਮੰਗਲਵਾਰ = mənɡəlvˈaɾ; ਬੁੱਧਵਾਰ = bʊdʰvˈaɾ; ਵੀਰਵਾਰ = vˈirvaɾ; ਸ਼ੁੱਕਰਵਾਰ = ʃʊkːərvˈaɾ;
    ਸ਼ਨੀਵਾਰ = ʃənivˈaɾ; ਐਤਵਾਰ = ˈɛtvaɾ; ਮਾਰਚ = mˈaɾc; ਅਪ੍ਰੈਲ = əpɾˈɛl; ਮਈ = mˈʌi; ਜੂਨ = ɟˈun;
    ਜੁਲਾਈ = ɟʊlˈai; ਅਗਸਤ = əɡˈʌst; ਸਤੰਬਰ = sətˈʌmbəɾ; ਅਕਤੂਬਰ = əktˈubəɾ; ਨਵੰਬਰ = nəvˈʌmbəɾ;
    ਦਸੰਬਰ = dəsˈʌmbəɾ; 20 ਮਾਰਚ = vˈih mˈaɾc; 10:30 = dˈʌs tˈih; ਸਵੇਰੇ = səvˈeɾe; ਦੁਪਹਿਰ = dˈʊpəhɪɾ;
    ਸ਼ਾਮ = ʃˈam; ਰਾਤ = ɾˈat; ਕਲੀਨਿਕ = kəlˈinɪk; ਮੁਲਾਕਾਤ = mʊlakˈat; ਮਾਹਵਾਰੀ = mˈahvaɾi;
    ਦਵਾਈ = dəvˈai; ਨਰਸ = nˈʌrs; ਡਾਕਟਰ = ɖˈakʈəɾ; ਦਬਾਓ = dəbˈao; ਫ਼ੋਨ = fˈon; ਵਜੇ = vˈʌɟe;
    ਜਨਵਰੀ = ɟˈʌnvəɾi; ਫ਼ਰਵਰੀ = fˈʌrvəɾi; ਧੰਨਵਾਦ = tə+nnvˈad; ਸਟਾਫ਼ = səʈˈaf;`,
}
