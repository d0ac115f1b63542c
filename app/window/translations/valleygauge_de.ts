<?xml version="1.0" encoding="utf-8"?>
<!DOCTYPE TS>
<TS version="2.1" language="de_DE">
<context>
    <name>BladeDrawing</name>
    <message>
        <source>Drawing of the blade that this table makes</source>
        <translation>Zeichnung des Halms, den diese Tabelle ergibt</translation>
    </message>
</context>
<context>
    <name>CheckPage</name>
    <message>
        <source>Check the cut key</source>
        <translation>Gefrästen Schlüssel prüfen</translation>
    </message>
    <message>
        <source>Standard uncertainty of one reading</source>
        <translation>Standardunsicherheit einer Ablesung</translation>
    </message>
    <message>
        <source>Compare with the code</source>
        <translation>Mit dem Code vergleichen</translation>
    </message>
    <message>
        <source>Compare a picture of the cut key…</source>
        <translation>Mit einem Bild vergleichen …</translation>
    </message>
    <message>
        <source>Compare that picture again</source>
        <translation>Dieses Bild noch einmal vergleichen</translation>
    </message>
    <message>
        <source>after its marks were moved by hand</source>
        <translation>nachdem seine Marken von Hand verschoben wurden</translation>
    </message>
    <message>
        <source>Nominal and measured profile…</source>
        <translation>Soll- und Istprofil …</translation>
    </message>
    <message>
        <source>Settle on a code first (step Code).</source>
        <translation>Legen Sie zuerst einen Code fest (Schritt Code).</translation>
    </message>
    <message>
        <source>Measure the roots of the cut key, in {0}, for {1}.</source>
        <translation>Messen Sie die Gründe des gefrästen Schlüssels in {0}, für {1}.</translation>
    </message>
    <message>
        <source>cut {0}, depth {1}</source>
        <translation>Einschnitt {0}, Tiefe {1}</translation>
    </message>
    <message>
        <source>the uncertainty</source>
        <translation>die Unsicherheit</translation>
    </message>
    <message>
        <source>root of cut {0}</source>
        <translation>Grund von Einschnitt {0}</translation>
    </message>
    <message>
        <source>The overlay cannot be drawn; compare the cut key again.</source>
        <translation>Das Überlagerungsbild lässt sich nicht zeichnen; vergleichen Sie den gefrästen Schlüssel noch einmal.</translation>
    </message>
    <message>
        <source>Nominal and measured profile</source>
        <translation>Soll- und Istprofil</translation>
    </message>
    <message>
        <source>Open a picture of the cut key</source>
        <translation>Bild des gefrästen Schlüssels öffnen</translation>
    </message>
</context>
<context>
    <name>CodePage</name>
    <message>
        <source>Settle on a code</source>
        <translation>Code festlegen</translation>
    </message>
    <message>
        <source>You know more? Click a rung of the ladder to hold that depth, again to rule it out.</source>
        <translation>Sie wissen mehr? Klicken Sie eine Sprosse der Leiter an, um die Tiefe festzuhalten, nochmals, um sie auszuschließen.</translation>
    </message>
    <message>
        <source>Notes</source>
        <translation>Notizen</translation>
    </message>
    <message>
        <source>Settled: {0}</source>
        <translation>Festgelegt: {0}</translation>
    </message>
    <message>
        <source>Settle on the likeliest code</source>
        <translation>Wahrscheinlichsten Code festlegen</translation>
    </message>
    <message>
        <source>Settle on {0}</source>
        <translation>{0} festlegen</translation>
    </message>
</context>
<context>
    <name>CodePanel</name>
    <message>
        <source>Code, bow to tip</source>
        <translation>Code, von der Reide zur Spitze</translation>
    </message>
    <message>
        <source>Mark the key by hand</source>
        <translation>Den Schlüssel von Hand markieren</translation>
    </message>
    <message>
        <source>Next likeliest; a click compares on the picture</source>
        <translation>Nächstwahrscheinliche; ein Klick vergleicht im Bild</translation>
    </message>
    <message>
        <source>No code yet.</source>
        <translation>Noch kein Code.</translation>
    </message>
    <message>
        <source>probability {0}</source>
        <translation>Wahrscheinlichkeit {0}</translation>
    </message>
    <message>
        <source>{0} · reading again</source>
        <translation>{0} · wird neu gelesen</translation>
    </message>
    <message>
        <source>Code {0}</source>
        <translation>Code {0}</translation>
    </message>
    <message>
        <source>compare with {0}, probability {1}</source>
        <translation>mit {0} vergleichen, Wahrscheinlichkeit {1}</translation>
    </message>
</context>
<context>
    <name>CuttingPage</name>
    <message>
        <source>Cut list</source>
        <translation>Fräsliste</translation>
    </message>
    <message>
        <source>Cutting machines: mind eyes, hands and swarf; the machine maker&apos;s instructions come first.</source>
        <translation>Fräsmaschinen: Achten Sie auf Augen, Hände und Späne; die Anleitung des Maschinenherstellers geht vor.</translation>
    </message>
    <message>
        <source>The cut list stands here once there is a code.</source>
        <translation>Hier steht die Fräsliste, sobald es einen Code gibt.</translation>
    </message>
    <message>
        <source>{0}, the likeliest code; it is not settled yet.</source>
        <translation>{0}, der wahrscheinlichste Code; er ist noch nicht festgelegt.</translation>
    </message>
    <message>
        <source>{0}, settled.</source>
        <translation>{0}, festgelegt.</translation>
    </message>
    <message>
        <source>no.</source>
        <translation>Nr.</translation>
    </message>
    <message>
        <source>depth</source>
        <translation>Tiefe</translation>
    </message>
    <message>
        <source>at, {0}</source>
        <translation>bei {0}</translation>
    </message>
    <message>
        <source>root, {0}</source>
        <translation>Grund {0}</translation>
    </message>
</context>
<context>
    <name>DepthKeysPart</name>
    <message>
        <source>Readings of the depth keys, a depth a line</source>
        <translation>Messwerte der Tiefenschlüssel, eine Tiefe je Zeile</translation>
    </message>
    <message>
        <source>Uncertainty of the instrument</source>
        <translation>Unsicherheit des Messgeräts</translation>
    </message>
    <message>
        <source>Measured by</source>
        <translation>Gemessen von</translation>
    </message>
    <message>
        <source>What the readings come to</source>
        <translation>Was die Messwerte ergeben</translation>
    </message>
    <message>
        <source>Take these depths</source>
        <translation>Übernehmen</translation>
    </message>
    <message>
        <source>Back to the grid</source>
        <translation>Zurück</translation>
    </message>
    <message>
        <source>Measure each depth key a few times. One depth a line: its label, then its readings in {0}, with blanks between.</source>
        <translation>Messen Sie jeden Tiefenschlüssel einige Male. Eine Tiefe je Zeile: ihr Name, dann ihre Messwerte in {0}, mit Leerzeichen dazwischen.</translation>
    </message>
    <message>
        <source>Say who measured them.</source>
        <translation>Sagen Sie, wer gemessen hat.</translation>
    </message>
    <message>
        <source>measured on depth keys by {0} on {1}, {2} readings or more a depth</source>
        <translation>an Tiefenschlüsseln gemessen von {0} am {1}, je Tiefe {2} Messwerte oder mehr</translation>
    </message>
</context>
<context>
    <name>DepthLadder</name>
    <message>
        <source>Depth ladder</source>
        <translation>Tiefenleiter</translation>
    </message>
    <message>
        <source>{0}; held</source>
        <translation>{0}; festgehalten</translation>
    </message>
    <message>
        <source>{0}; ruled out</source>
        <translation>{0}; ausgeschlossen</translation>
    </message>
    <message>
        <source>click a rung to hold that depth, again to rule it out, again to clear · arrows and Return do the same</source>
        <translation>Sprosse anklicken: Tiefe festhalten, nochmals: ausschließen, nochmals: freigeben · Pfeile und Eingabetaste tun dasselbe</translation>
    </message>
    <message>
        <source>{0} · click or Return: hold, again: rule out, again: clear</source>
        <translation>{0} · Klick oder Eingabe: festhalten, nochmals: ausschließen, nochmals: freigeben</translation>
    </message>
    <message>
        <source>cut {0}</source>
        <translation>Einschnitt {0}</translation>
    </message>
    <message>
        <source>{0} low</source>
        <translation>{0} unten</translation>
    </message>
    <message>
        <source>The depths of each cut stand here once a table is chosen and the picture is read.</source>
        <translation>Hier stehen die Tiefen jedes Einschnitts, sobald eine Tabelle gewählt und das Bild gelesen ist.</translation>
    </message>
</context>
<context>
    <name>Doorway</name>
    <message>
        <source>Open a picture of a key</source>
        <translation>Bild eines Schlüssels öffnen</translation>
    </message>
    <message>
        <source>Open a job folder</source>
        <translation>Auftragsordner öffnen</translation>
    </message>
    <message>
        <source>pasted picture.png</source>
        <translation>eingefügtes Bild.png</translation>
    </message>
    <message>
        <source>There is no picture on the clipboard; copy one and paste again, or open a file.</source>
        <translation>In der Zwischenablage ist kein Bild; kopieren Sie eines und fügen Sie es noch einmal ein, oder öffnen Sie eine Datei.</translation>
    </message>
    <message>
        <source>Nothing was exported: a code leaves only with its entitlement. Still to be recorded: {0}.</source>
        <translation>Nichts wurde ausgegeben: Ein Code geht nur mit seiner Berechtigung hinaus. Noch einzutragen: {0}.</translation>
    </message>
    <message>
        <source>Nothing was exported: there is no code yet. {0}</source>
        <translation>Nichts wurde ausgegeben: Es gibt noch keinen Code. {0}</translation>
    </message>
    <message>
        <source>Export to which folder?</source>
        <translation>In welchen Ordner ausgeben?</translation>
    </message>
    <message>
        <source>Exported to {0}: {1}.</source>
        <translation>Ausgegeben nach {0}: {1}.</translation>
    </message>
    <message>
        <source>Exporting to {0}.</source>
        <translation>Wird nach {0} ausgegeben.</translation>
    </message>
</context>
<context>
    <name>DrawingDialog</name>
    <message>
        <source>Keep as SVG or PNG…</source>
        <translation>Als SVG oder PNG aufheben …</translation>
    </message>
    <message>
        <source>Kept as {0}.</source>
        <translation>Aufgehoben als {0}.</translation>
    </message>
    <message>
        <source>Keep the drawing where?</source>
        <translation>Wo soll die Zeichnung aufgehoben werden?</translation>
    </message>
</context>
<context>
    <name>EmptyState</name>
    <message>
        <source>Lay a picture of the key on the bench</source>
        <translation>Legen Sie ein Bild des Schlüssels auf die Werkbank</translation>
    </message>
    <message>
        <source>Drop a photocopy, scan, photo or PDF here, paste one, or open a file. Any direction, any enlargement.</source>
        <translation>Ziehen Sie eine Fotokopie, einen Scan, ein Foto oder ein PDF hierher, fügen Sie eines ein oder öffnen Sie eine Datei. Jede Richtung, jede Vergrößerung.</translation>
    </message>
    <message>
        <source>Open a picture…</source>
        <translation>Bild öffnen …</translation>
    </message>
    <message>
        <source>Paste</source>
        <translation>Einfügen</translation>
    </message>
    <message>
        <source>Try the demo job</source>
        <translation>Beispielauftrag ansehen</translation>
    </message>
    <message>
        <source>Or go on with a job</source>
        <translation>Oder einen Auftrag fortsetzen</translation>
    </message>
    <message>
        <source>open job {0}</source>
        <translation>Auftrag {0} öffnen</translation>
    </message>
    <message>
        <source>{0} (sealed)</source>
        <translation>{0} (versiegelt)</translation>
    </message>
</context>
<context>
    <name>EntitlementPanel</name>
    <message>
        <source>Entitlement</source>
        <translation>Berechtigung</translation>
    </message>
    <message>
        <source>Only for keys that the customer is entitled to. Local law and licence rules come first.</source>
        <translation>Nur für Schlüssel, die dem Kunden zustehen. Recht und Gewerberegeln am Ort gehen vor.</translation>
    </message>
    <message>
        <source>This table is restricted: the authority&apos;s reference is needed too.</source>
        <translation>Diese Tabelle ist geschützt: Auch das Zeichen des Berechtigten wird gebraucht.</translation>
    </message>
    <message>
        <source>Who asked for the key</source>
        <translation>Wer den Schlüssel verlangt hat</translation>
    </message>
    <message>
        <source>What proof was seen</source>
        <translation>Welcher Nachweis gesehen wurde</translation>
    </message>
    <message>
        <source>Who saw the proof</source>
        <translation>Wer den Nachweis gesehen hat</translation>
    </message>
    <message>
        <source>The authority&apos;s reference</source>
        <translation>Zeichen des Berechtigten</translation>
    </message>
    <message>
        <source>A code leaves the program once this is recorded: {0}.</source>
        <translation>Ein Code geht hinaus, sobald dies eingetragen ist: {0}.</translation>
    </message>
    <message>
        <source>Recorded. It goes with every export.</source>
        <translation>Eingetragen. Es geht mit jeder Ausgabe mit.</translation>
    </message>
    <message>
        <source>When the proof was seen</source>
        <translation>Wann der Nachweis gesehen wurde</translation>
    </message>
    <message>
        <source>Seen now</source>
        <translation>Jetzt gesehen</translation>
    </message>
</context>
<context>
    <name>GrowthStrip</name>
    <message>
        <source>Growth: how far the visible edge stands outside the metal, in micrometres</source>
        <translation>Zuwachs: wie weit die sichtbare Kante außerhalb des Metalls steht, in Mikrometern</translation>
    </message>
    <message>
        <source>drag, or arrows 0.01 mm, Shift 0.1 · A leaves it to the evidence · W: near the evidence</source>
        <translation>ziehen, oder Pfeile 0,01 mm, Umschalt 0,1 · A überlässt es der Messung · W: nahe an der Messung</translation>
    </message>
    <message>
        <source>drag, or arrows 0.01 mm, Shift 0.1 · A leaves it to the evidence · W: all growths</source>
        <translation>ziehen, oder Pfeile 0,01 mm, Umschalt 0,1 · A überlässt es der Messung · W: ganzer Bereich</translation>
    </message>
    <message>
        <source>growth {0} gives {1} · {2}</source>
        <translation>Zuwachs {0} ergibt {1} · {2}</translation>
    </message>
    <message>
        <source>The codes that each growth gives stand here after the reading.</source>
        <translation>Hier stehen nach dem Lesen die Codes, die jeder Zuwachs ergibt.</translation>
    </message>
    <message>
        <source>{0}, code {1}</source>
        <translation>{0}, Code {1}</translation>
    </message>
</context>
<context>
    <name>Header</name>
    <message>
        <source>Job menu</source>
        <translation>Auftragsmenü</translation>
    </message>
    <message>
        <source>Go on with</source>
        <translation>Weiter mit</translation>
    </message>
    <message>
        <source>lengths in {0}</source>
        <translation>Längen in {0}</translation>
    </message>
    <message>
        <source>lengths in {0} (F6: next unit)</source>
        <translation>Längen in {0} (F6: nächste Einheit)</translation>
    </message>
    <message>
        <source>Export…</source>
        <translation>Ausgeben …</translation>
    </message>
    <message>
        <source>Job {0}  ▾</source>
        <translation>Auftrag {0}  ▾</translation>
    </message>
    <message>
        <source>picture {0} of {1}</source>
        <translation>Bild {0} von {1}</translation>
    </message>
    <message>
        <source>no job is kept yet</source>
        <translation>noch kein Auftrag vorhanden</translation>
    </message>
</context>
<context>
    <name>JobPath</name>
    <message>
        <source>Entitlement</source>
        <translation>Berechtigung</translation>
    </message>
    <message>
        <source>Depth table</source>
        <translation>Tiefentabelle</translation>
    </message>
    <message>
        <source>Picture</source>
        <translation>Bild</translation>
    </message>
    <message>
        <source>Scale</source>
        <translation>Maßstab</translation>
    </message>
    <message>
        <source>Marks</source>
        <translation>Marken</translation>
    </message>
    <message>
        <source>Code</source>
        <translation>Code</translation>
    </message>
    <message>
        <source>Cutting</source>
        <translation>Fräsen</translation>
    </message>
    <message>
        <source>Check</source>
        <translation>Prüfung</translation>
    </message>
</context>
<context>
    <name>JobsDialog</name>
    <message>
        <source>Kept jobs</source>
        <translation>Aufgehobene Aufträge</translation>
    </message>
    <message>
        <source>Another folder…</source>
        <translation>Anderer Ordner …</translation>
    </message>
    <message>
        <source>Number, customer, table or day</source>
        <translation>Nummer, Kunde, Tabelle oder Tag</translation>
    </message>
    <message>
        <source>Find a job</source>
        <translation>Auftrag suchen</translation>
    </message>
    <message>
        <source>any state</source>
        <translation>jeder Stand</translation>
    </message>
    <message>
        <source>State</source>
        <translation>Stand</translation>
    </message>
    <message>
        <source>begun since</source>
        <translation>begonnen seit</translation>
    </message>
    <message>
        <source>only those to be looked at again</source>
        <translation>nur wieder anzusehende</translation>
    </message>
    <message>
        <source>number</source>
        <translation>Nummer</translation>
    </message>
    <message>
        <source>begun</source>
        <translation>begonnen</translation>
    </message>
    <message>
        <source>state</source>
        <translation>Stand</translation>
    </message>
    <message>
        <source>table</source>
        <translation>Tabelle</translation>
    </message>
    <message>
        <source>asked by</source>
        <translation>verlangt von</translation>
    </message>
    <message>
        <source>kept until</source>
        <translation>aufgehoben bis</translation>
    </message>
    <message>
        <source>open at</source>
        <translation>offen bei</translation>
    </message>
    <message>
        <source>remark</source>
        <translation>Bemerkung</translation>
    </message>
    <message>
        <source>List as CSV…</source>
        <translation>Liste als CSV …</translation>
    </message>
    <message>
        <source>Close</source>
        <translation>Schließen</translation>
    </message>
    <message>
        <source>Open the job</source>
        <translation>Auftrag öffnen</translation>
    </message>
    <message>
        <source>Reading the folder…</source>
        <translation>Der Ordner wird gelesen …</translation>
    </message>
    <message>
        <source>Kept as {0}.</source>
        <translation>Aufgehoben als {0}.</translation>
    </message>
    <message>
        <source>{0}, due</source>
        <translation>{0}, fällig</translation>
    </message>
    <message>
        <source>{0} of {1} jobs</source>
        <translation>{0} von {1} Aufträgen</translation>
    </message>
    <message>
        <source>; {0} to be looked at again</source>
        <translation>; {0} wieder anzusehen</translation>
    </message>
    <message>
        <source>Jobs of which folder?</source>
        <translation>Aufträge welches Ordners?</translation>
    </message>
    <message>
        <source>Keep the list where?</source>
        <translation>Wo soll die Liste aufgehoben werden?</translation>
    </message>
</context>
<context>
    <name>KeepUntilDialog</name>
    <message>
        <source>Keep until</source>
        <translation>Aufheben bis</translation>
    </message>
    <message>
        <source>From this day on the record is shown as due, to be kept longer or forgotten. Nothing is removed by itself. How long it may or must be kept is the law&apos;s to say.</source>
        <translation>Ab diesem Tag gilt der Auftrag als fällig, um länger aufgehoben oder vergessen zu werden. Nichts wird von selbst entfernt. Wie lange er aufgehoben werden darf oder muss, sagt das Gesetz.</translation>
    </message>
    <message>
        <source>No day</source>
        <translation>Kein Tag</translation>
    </message>
    <message>
        <source>Cancel</source>
        <translation>Abbrechen</translation>
    </message>
    <message>
        <source>Keep until this day</source>
        <translation>Bis zu diesem Tag aufheben</translation>
    </message>
</context>
<context>
    <name>Keeper</name>
    <message>
        <source>Sealed jobs (*{0})</source>
        <translation>Versiegelte Aufträge (*{0})</translation>
    </message>
    <message>
        <source>Open a sealed job</source>
        <translation>Versiegelten Auftrag öffnen</translation>
    </message>
    <message>
        <source>{0} is not a sealed job.</source>
        <translation>{0} ist kein versiegelter Auftrag.</translation>
    </message>
    <message>
        <source>{0} opens with its passphrase. It takes a second.</source>
        <translation>{0} öffnet sich mit seinem Kennsatz. Es dauert eine Sekunde.</translation>
    </message>
    <message>
        <source>This job is sealed already.</source>
        <translation>Dieser Auftrag ist schon versiegelt.</translation>
    </message>
    <message>
        <source>Seal the job into which file?</source>
        <translation>In welche Datei soll der Auftrag versiegelt werden?</translation>
    </message>
    <message>
        <source>Sealed into {0}; nothing of it is kept in the clear.</source>
        <translation>Versiegelt in {0}; nichts davon wird offen aufgehoben.</translation>
    </message>
    <message>
        <source>Left in the job&apos;s old folder: {0}.</source>
        <translation>Im alten Ordner des Auftrags blieb: {0}.</translation>
    </message>
    <message>
        <source>Forget this job</source>
        <translation>Diesen Auftrag vergessen</translation>
    </message>
    <message>
        <source>Remove job {0} for good: its record, pictures, autosave and lines in the log? Papers and exports in its folder are left and named. What was printed, sent or backed up is not reached.</source>
        <translation>Auftrag {0} endgültig entfernen: Akte, Bilder, Zwischenstand und Zeilen im Protokoll? Papiere und Ausgaben in seinem Ordner bleiben und werden genannt. Was gedruckt, verschickt oder gesichert wurde, wird nicht erreicht.</translation>
    </message>
    <message>
        <source>Forget it</source>
        <translation>Vergessen</translation>
    </message>
    <message>
        <source>Job {0} is forgotten.</source>
        <translation>Auftrag {0} ist vergessen.</translation>
    </message>
    <message>
        <source>Seal the job</source>
        <translation>Auftrag versiegeln</translation>
    </message>
    <message>
        <source>Four or five unrelated words are good. A forgotten passphrase cannot be recovered by anybody. The job&apos;s folder in the clear is taken away afterwards.</source>
        <translation>Vier oder fünf Wörter ohne Zusammenhang sind gut. Einen vergessenen Kennsatz kann niemand wiederherstellen. Der offene Ordner des Auftrags wird danach entfernt.</translation>
    </message>
</context>
<context>
    <name>MainWindow</name>
    <message>
        <source>Keys for what is under the pointer</source>
        <translation>Tasten für das, was unter dem Zeiger liegt</translation>
    </message>
    <message>
        <source>dropped picture.png</source>
        <translation>abgelegtes Bild.png</translation>
    </message>
    <message>
        <source>Sealing the job. The window closes as soon as that is done.</source>
        <translation>Der Auftrag wird versiegelt. Das Fenster schließt sich, sobald das getan ist.</translation>
    </message>
    <message>
        <source>Saving the job. The window closes as soon as that is done.</source>
        <translation>Der Auftrag wird gespeichert. Das Fenster schließt sich, sobald das getan ist.</translation>
    </message>
    <message>
        <source>Reading the picture.</source>
        <translation>Das Bild wird gelesen.</translation>
    </message>
    <message>
        <source>Open a picture.</source>
        <translation>Öffnen Sie ein Bild.</translation>
    </message>
    <message>
        <source>Choose the depth table.</source>
        <translation>Wählen Sie die Tiefentabelle.</translation>
    </message>
    <message>
        <source>The reading was stopped; F5 reads again.</source>
        <translation>Das Lesen wurde angehalten; F5 liest noch einmal.</translation>
    </message>
    <message>
        <source>No code yet.</source>
        <translation>Noch kein Code.</translation>
    </message>
    <message>
        <source>not saved</source>
        <translation>nicht gespeichert</translation>
    </message>
    <message>
        <source>saving…</source>
        <translation>wird gespeichert …</translation>
    </message>
    <message>
        <source>saved {0}, sealed</source>
        <translation>gesichert {0}, versiegelt</translation>
    </message>
    <message>
        <source>saved {0}</source>
        <translation>gespeichert {0}</translation>
    </message>
    <message>
        <source>nothing to save yet</source>
        <translation>noch nichts zu speichern</translation>
    </message>
    <message>
        <source>F1 shows all keys</source>
        <translation>F1 zeigt alle Tasten</translation>
    </message>
    <message>
        <source>Made for the other keys: {0}. They are in the job menu.</source>
        <translation>Für die anderen Schlüssel angelegt: {0}. Sie stehen im Auftragsmenü.</translation>
    </message>
</context>
<context>
    <name>MarksPanel</name>
    <message>
        <source>Marks</source>
        <translation>Marken</translation>
    </message>
    <message>
        <source>Marks of the picture</source>
        <translation>Marken des Bildes</translation>
    </message>
    <message>
        <source>Lock (L)</source>
        <translation>Sperren (L)</translation>
    </message>
    <message>
        <source>Read as placed (S)</source>
        <translation>Wie gesetzt lesen (S)</translation>
    </message>
    <message>
        <source>All cuts by one spacing (Ctrl with an arrow)</source>
        <translation>Alle Einschnitte um einen Abstand (Strg mit Pfeil)</translation>
    </message>
    <message>
        <source>← bow</source>
        <translation>← Reide</translation>
    </message>
    <message>
        <source>tip →</source>
        <translation>Spitze →</translation>
    </message>
    <message>
        <source>all cuts one spacing towards the bow</source>
        <translation>alle Einschnitte einen Abstand zur Reide</translation>
    </message>
    <message>
        <source>all cuts one spacing towards the tip</source>
        <translation>alle Einschnitte einen Abstand zur Spitze</translation>
    </message>
    <message>
        <source>These marks are right</source>
        <translation>Diese Marken stimmen</translation>
    </message>
    <message>
        <source>Mark by hand, one by one</source>
        <translation>Von Hand, der Reihe nach</translation>
    </message>
    <message>
        <source>Find all again</source>
        <translation>Alle neu suchen</translation>
    </message>
    <message>
        <source>No marks yet. Choose a table, or mark the key by hand.</source>
        <translation>Noch keine Marken. Wählen Sie eine Tabelle, oder setzen Sie die Marken von Hand.</translation>
    </message>
    <message>
        <source>{0} marks, {1} set by hand. Drag one on the picture, or use Tab and the arrows.</source>
        <translation>{0} Marken, {1} von Hand gesetzt. Ziehen Sie eine im Bild, oder nehmen Sie Tab und die Pfeile.</translation>
    </message>
    <message>
        <source>Unlock (L)</source>
        <translation>Entsperren (L)</translation>
    </message>
    <message>
        <source>Snap to the edge (S)</source>
        <translation>An der Kante einrasten (S)</translation>
    </message>
    <message>
        <source>found</source>
        <translation>gefunden</translation>
    </message>
    <message>
        <source>by hand, read as placed</source>
        <translation>von Hand, wie gesetzt gelesen</translation>
    </message>
    <message>
        <source>by hand, edge found {0} px away</source>
        <translation>von Hand, Kante {0} px entfernt gefunden</translation>
    </message>
    <message>
        <source>by hand, no edge found there</source>
        <translation>von Hand, dort keine Kante gefunden</translation>
    </message>
    <message>
        <source>by hand</source>
        <translation>von Hand</translation>
    </message>
    <message>
        <source>locked</source>
        <translation>gesperrt</translation>
    </message>
</context>
<context>
    <name>Notice</name>
    <message>
        <source>Put aside (Esc)</source>
        <translation>Weglegen (Esc)</translation>
    </message>
</context>
<context>
    <name>PaperDialog</name>
    <message>
        <source>Job sheet</source>
        <translation>Auftragsblatt</translation>
    </message>
    <message>
        <source>Light-test template</source>
        <translation>Schablone für die Lichtprobe</translation>
    </message>
    <message>
        <source>Label for the key tag</source>
        <translation>Etikett für den Schlüsselanhänger</translation>
    </message>
    <message>
        <source>Preview of the pages</source>
        <translation>Vorschau der Seiten</translation>
    </message>
    <message>
        <source>with the code on it</source>
        <translation>mit dem Code darauf</translation>
    </message>
    <message>
        <source>with the table&apos;s name</source>
        <translation>mit dem Namen der Tabelle</translation>
    </message>
    <message>
        <source>Paper in the printer</source>
        <translation>Papier im Drucker</translation>
    </message>
    <message>
        <source>The customer is never named on a label.</source>
        <translation>Der Kunde steht nie auf einem Etikett.</translation>
    </message>
    <message>
        <source>Print at actual size, 100 %. This paper can open somebody&apos;s door.</source>
        <translation>In wahrer Größe drucken, 100 %. Dieses Papier kann jemandes Tür öffnen.</translation>
    </message>
    <message>
        <source>Keep as PDF…</source>
        <translation>Als PDF aufheben …</translation>
    </message>
    <message>
        <source>Close</source>
        <translation>Schließen</translation>
    </message>
    <message>
        <source>Drawing the pages.</source>
        <translation>Die Seiten werden gezeichnet.</translation>
    </message>
    <message>
        <source>Kept as {0}.</source>
        <translation>Aufgehoben als {0}.</translation>
    </message>
    <message>
        <source>the rule along</source>
        <translation>das Lineal längs</translation>
    </message>
    <message>
        <source>the rule across</source>
        <translation>das Lineal quer</translation>
    </message>
    <message>
        <source>Printer (any name; its correction is remembered)</source>
        <translation>Drucker (beliebiger Name; seine Korrektur wird behalten)</translation>
    </message>
    <message>
        <source>Print once, measure both rules from end mark to end mark, type what they measure in mm.</source>
        <translation>Einmal drucken, beide Lineale von Endmarke zu Endmarke messen und die Längen in mm eingeben.</translation>
    </message>
    <message>
        <source>Rule along, mm</source>
        <translation>Lineal längs, mm</translation>
    </message>
    <message>
        <source>Rule across, mm</source>
        <translation>Lineal quer, mm</translation>
    </message>
    <message>
        <source>Correct the printer</source>
        <translation>Drucker korrigieren</translation>
    </message>
    <message>
        <source>Keep the paper where?</source>
        <translation>Wo soll das Papier aufgehoben werden?</translation>
    </message>
</context>
<context>
    <name>PassphraseDialog</name>
    <message>
        <source>Passphrase</source>
        <translation>Kennsatz</translation>
    </message>
    <message>
        <source>The same again</source>
        <translation>Noch einmal derselbe</translation>
    </message>
    <message>
        <source>The two are not the same; type them again.</source>
        <translation>Die beiden sind nicht gleich; geben Sie sie noch einmal ein.</translation>
    </message>
    <message>
        <source>Type the passphrase.</source>
        <translation>Geben Sie den Kennsatz ein.</translation>
    </message>
</context>
<context>
    <name>PictureBeside</name>
    <message>
        <source>work on {0}</source>
        <translation>mit {0} arbeiten</translation>
    </message>
</context>
<context>
    <name>PictureLook</name>
    <message>
        <source>{0} at {1}, {2} pixels</source>
        <translation>{0} bei {1}, {2} Pixel</translation>
    </message>
    <message>
        <source>read as placed</source>
        <translation>wie gesetzt gelesen</translation>
    </message>
    <message>
        <source>set by hand</source>
        <translation>von Hand gesetzt</translation>
    </message>
    <message>
        <source>locked</source>
        <translation>gesperrt</translation>
    </message>
</context>
<context>
    <name>PicturePanel</name>
    <message>
        <source>Pictures of this key</source>
        <translation>Bilder dieses Schlüssels</translation>
    </message>
    <message>
        <source>Add a picture…</source>
        <translation>Bild dazulegen …</translation>
    </message>
    <message>
        <source>Paste</source>
        <translation>Einfügen</translation>
    </message>
    <message>
        <source>Take this picture out</source>
        <translation>Dieses Bild herausnehmen</translation>
    </message>
    <message>
        <source>What the picture is</source>
        <translation>Was das Bild ist</translation>
    </message>
    <message>
        <source>Page of the file</source>
        <translation>Seite der Datei</translation>
    </message>
    <message>
        <source>Which key of the picture</source>
        <translation>Welcher Schlüssel im Bild</translation>
    </message>
    <message>
        <source>Make a job of each key</source>
        <translation>Für jeden Schlüssel einen Auftrag</translation>
    </message>
    <message>
        <source>No picture yet.</source>
        <translation>Noch kein Bild.</translation>
    </message>
    <message>
        <source>The program sees {0} keys in this picture. Each can have its job.</source>
        <translation>Das Programm sieht {0} Schlüssel in diesem Bild. Jeder kann seinen Auftrag bekommen.</translation>
    </message>
    <message>
        <source>{0} by {1} pixels.</source>
        <translation>{0} mal {1} Pixel.</translation>
    </message>
    <message>
        <source>The file claims {0} by {1} dpi; that is a claim, not a measurement.</source>
        <translation>Die Datei behauptet {0} mal {1} dpi; das ist eine Behauptung, keine Messung.</translation>
    </message>
    <message>
        <source>Turned as the file asks: {0}.</source>
        <translation>Gedreht, wie die Datei es verlangt: {0}.</translation>
    </message>
    <message>
        <source>Page {0} of {1}.</source>
        <translation>Seite {0} von {1}.</translation>
    </message>
    <message>
        <source>a scan of the key itself</source>
        <translation>ein Scan des Schlüssels</translation>
    </message>
    <message>
        <source>a photocopy of the key</source>
        <translation>eine Fotokopie</translation>
    </message>
    <message>
        <source>a photo of the key</source>
        <translation>ein Foto des Schlüssels</translation>
    </message>
    <message>
        <source>a photo of a photocopy</source>
        <translation>ein Foto einer Kopie</translation>
    </message>
    <message>
        <source>whatever the program finds</source>
        <translation>was das Programm findet</translation>
    </message>
    <message>
        <source>found: {0}</source>
        <translation>gefunden: {0}</translation>
    </message>
</context>
<context>
    <name>PictureView</name>
    <message>
        <source>Picture with its marks</source>
        <translation>Bild mit seinen Marken</translation>
    </message>
    <message>
        <source>click the {0}, or arrows and Return · Backspace: the one before · Esc stops</source>
        <translation>{0} anklicken, oder Pfeile und Eingabe · Rücktaste: die vorige · Esc hört auf</translation>
    </message>
    <message>
        <source>arrows 1 px, Shift 10, Alt 0.1 · Tab next mark · L lock · Delete: find again · C closer</source>
        <translation>Pfeile 1 px, Umschalt 10, Alt 0,1 · Tab nächste Marke · L sperren · Entf: neu suchen · C näher</translation>
    </message>
    <message>
        <source>{0} · locked with its step · {1}, then {2}, unlocks it</source>
        <translation>{0} · mit ihrem Schritt gesperrt · {1}, dann {2}, entsperrt ihn</translation>
    </message>
    <message>
        <source>{0} · locked · L unlocks it · Tab next mark · C closer</source>
        <translation>{0} · gesperrt · L entsperrt · Tab nächste Marke · C näher</translation>
    </message>
    <message>
        <source>read as placed · S snaps to the edge · {0}</source>
        <translation>wie gesetzt gelesen · S rastet an der Kante ein · {0}</translation>
    </message>
    <message>
        <source>read at the edge, the small square · S reads it as placed · {0}</source>
        <translation>an der Kante gelesen, am kleinen Quadrat · S liest wie gesetzt · {0}</translation>
    </message>
    <message>
        <source>wheel moves, Ctrl with the wheel zooms · F blade, W whole, 1 one to one · Tab first mark · H hides</source>
        <translation>Rad verschiebt, Strg mit Rad vergrößert · F Halm, W ganz, 1 eins zu eins · Tab erste Marke · H blendet aus</translation>
    </message>
    <message>
        <source>wheel zooms, middle button or Space drags · F blade, W whole, 1 one to one · Tab first mark · H hides</source>
        <translation>Rad vergrößert, mittlere Taste oder Leertaste zieht · F Halm, W ganz, 1 eins zu eins · Tab erste Marke · H verbirgt</translation>
    </message>
</context>
<context>
    <name>ReductionDialog</name>
    <message>
        <source>Reduction on a copier</source>
        <translation>Verkleinern am Kopierer</translation>
    </message>
    <message>
        <source>An enlarged copy is brought back to the key&apos;s true size on a copier. It is the older way, and a cross-check: lay the reduced copy under the key, or measure it with calipers.</source>
        <translation>Eine vergrößerte Kopie wird am Kopierer auf die wahre Größe des Schlüssels gebracht. Das ist der ältere Weg und eine Gegenprobe: legen Sie die verkleinerte Kopie unter den Schlüssel, oder messen Sie sie mit dem Messschieber.</translation>
    </message>
    <message>
        <source>Dots per inch of the scan of that copy</source>
        <translation>Punkte je Zoll des Scans dieser Kopie</translation>
    </message>
    <message>
        <source>Finest step of the copier, per cent</source>
        <translation>Feinste Stufe des Kopierers, Prozent</translation>
    </message>
    <message>
        <source>Growth is reduced with the rest but stays: the new copy&apos;s edges still stand outside the metal.</source>
        <translation>Der Zuwachs wird mit verkleinert, bleibt aber: die Kanten der neuen Kopie stehen weiter außerhalb des Metalls.</translation>
    </message>
    <message>
        <source>Close</source>
        <translation type="unfinished">Schließen</translation>
    </message>
    <message>
        <source>the dots per inch</source>
        <translation>die Punkte je Zoll</translation>
    </message>
    <message>
        <source>the copier&apos;s step</source>
        <translation>die Stufe des Kopierers</translation>
    </message>
    <message>
        <source>exact</source>
        <translation>genau</translation>
    </message>
    <message>
        <source>set</source>
        <translation>einstellen</translation>
    </message>
    <message>
        <source>then off by</source>
        <translation>danach daneben um</translation>
    </message>
    <message>
        <source>along the blade</source>
        <translation>entlang des Halms</translation>
    </message>
    <message>
        <source>across the blade</source>
        <translation>quer zum Halm</translation>
    </message>
    <message>
        <source>one setting for both</source>
        <translation>eine Einstellung für beide</translation>
    </message>
    <message>
        <source> and then </source>
        <translation> und dann </translation>
    </message>
</context>
<context>
    <name>ReferenceForm</name>
    <message>
        <source>Mark something of known size yourself</source>
        <translation>Etwas von bekannter Größe selbst markieren</translation>
    </message>
    <message>
        <source>Card, 85.60 by 53.98 mm</source>
        <translation>Karte, 85,60 mal 53,98 mm</translation>
    </message>
    <message>
        <source>A4 page, 210 by 297 mm</source>
        <translation>A4-Seite, 210 mal 297 mm</translation>
    </message>
    <message>
        <source>Letter page, 8.5 by 11 inch</source>
        <translation>Letter-Seite, 8,5 mal 11 Zoll</translation>
    </message>
    <message>
        <source>Rectangle of your own size</source>
        <translation>Rechteck eigener Größe</translation>
    </message>
    <message>
        <source>Length: ruler, coin across</source>
        <translation>Länge: Lineal, Münze</translation>
    </message>
    <message>
        <source>Its length</source>
        <translation>Seine Länge</translation>
    </message>
    <message>
        <source>Its height</source>
        <translation>Seine Höhe</translation>
    </message>
    <message>
        <source>Mark its corners</source>
        <translation>Ecken markieren</translation>
    </message>
    <message>
        <source>Take away</source>
        <translation>Wegnehmen</translation>
    </message>
    <message>
        <source>length, {0}</source>
        <translation>Länge, {0}</translation>
    </message>
    <message>
        <source>height, {0}</source>
        <translation>Höhe, {0}</translation>
    </message>
    <message>
        <source>its length</source>
        <translation>seine Länge</translation>
    </message>
    <message>
        <source>its height</source>
        <translation>seine Höhe</translation>
    </message>
    <message>
        <source>A size must be above 0; got {0}.</source>
        <translation>Eine Größe muss über 0 liegen; angegeben ist {0}.</translation>
    </message>
</context>
<context>
    <name>ScalePanel</name>
    <message>
        <source>Scale</source>
        <translation type="unfinished">Maßstab</translation>
    </message>
    <message>
        <source>Something of known size in the picture</source>
        <translation>Etwas von bekannter Größe im Bild</translation>
    </message>
    <message>
        <source>Whatever is found</source>
        <translation>Was gefunden wird</translation>
    </message>
    <message>
        <source>A card (85.60 by 53.98 mm)</source>
        <translation>Eine Karte (85,60 mal 53,98 mm)</translation>
    </message>
    <message>
        <source>The A4 page</source>
        <translation>Die A4-Seite</translation>
    </message>
    <message>
        <source>The file&apos;s dpi claim</source>
        <translation>Die dpi-Angabe der Datei</translation>
    </message>
    <message>
        <source>Nothing but the key</source>
        <translation>Nur der Schlüssel</translation>
    </message>
    <message>
        <source>The references are compared once the picture is read.</source>
        <translation>Die Bezüge werden verglichen, sobald das Bild gelesen ist.</translation>
    </message>
    <message>
        <source>They agree: {0} px/mm along and {1} across, within {2} %.</source>
        <translation>Sie stimmen überein: {0} px/mm längs und {1} quer, auf {2} % genau.</translation>
    </message>
    <message>
        <source>use this reference</source>
        <translation>diesen Bezug verwenden</translation>
    </message>
    <message>
        <source>not used</source>
        <translation>nicht verwendet</translation>
    </message>
    <message>
        <source>agrees</source>
        <translation>stimmt überein</translation>
    </message>
    <message>
        <source>larger than the rest by {0} of its own uncertainty</source>
        <translation>um {0} seiner eigenen Unsicherheit größer als die anderen</translation>
    </message>
    <message>
        <source>smaller than the rest by {0} of its own uncertainty</source>
        <translation>um {0} seiner eigenen Unsicherheit kleiner als die anderen</translation>
    </message>
</context>
<context>
    <name>Session</name>
    <message>
        <source>{0} Do the same once more to leave the job without saving it.</source>
        <translation>{0} Tun Sie dasselbe noch einmal, um den Auftrag ungespeichert zu verlassen.</translation>
    </message>
    <message>
        <source>Something went wrong in the program ({0}); your job is as it was.</source>
        <translation>Im Programm ist etwas schiefgegangen ({0}); Ihr Auftrag ist, wie er war.</translation>
    </message>
</context>
<context>
    <name>Sheet</name>
    <message>
        <source>Leave it to the evidence</source>
        <translation>Der Messung überlassen</translation>
    </message>
    <message>
        <source>the cut key</source>
        <translation>der gefräste Schlüssel</translation>
    </message>
    <message>
        <source>growth {0}</source>
        <translation>Zuwachs {0}</translation>
    </message>
    <message>
        <source>Growth: how far shadow, toner and blur stand outside the metal</source>
        <translation>Zuwachs: wie weit Schatten, Toner und Unschärfe außerhalb des Metalls stehen</translation>
    </message>
    <message>
        <source>Growth set by hand: {0}</source>
        <translation>Zuwachs von Hand: {0}</translation>
    </message>
    <message>
        <source>Growth: the visible edge stands {0} {1} outside the metal (shadow, toner, blur)</source>
        <translation>Zuwachs: die sichtbare Kante steht {0} {1} außerhalb des Metalls (Schatten, Toner, Unschärfe)</translation>
    </message>
    <message>
        <source>Growth: the visible edge stands {0} {1} inside the metal (thin toner, bright rim)</source>
        <translation>Zuwachs: die sichtbare Kante steht {0} {1} innerhalb des Metalls (dünner Toner, heller Rand)</translation>
    </message>
    <message>
        <source>Sealing the job</source>
        <translation>Der Auftrag wird versiegelt</translation>
    </message>
    <message>
        <source>Opening</source>
        <translation>Öffnen</translation>
    </message>
    <message>
        <source>Reading the picture</source>
        <translation type="unfinished">Das Bild wird gelesen</translation>
    </message>
</context>
<context>
    <name>ShortcutSheet</name>
    <message>
        <source>All keys</source>
        <translation>Alle Tasten</translation>
    </message>
    <message>
        <source>the job menu, with all that has no key</source>
        <translation>das Auftragsmenü mit allem ohne Taste</translation>
    </message>
    <message>
        <source>open a picture</source>
        <translation>Bild öffnen</translation>
    </message>
    <message>
        <source>open a job folder</source>
        <translation>Auftragsordner öffnen</translation>
    </message>
    <message>
        <source>kept jobs: find one</source>
        <translation>aufgehobene Aufträge: einen suchen</translation>
    </message>
    <message>
        <source>begin a new job</source>
        <translation>neuen Auftrag beginnen</translation>
    </message>
    <message>
        <source>paste a picture</source>
        <translation>Bild einfügen</translation>
    </message>
    <message>
        <source>export picture and job</source>
        <translation>Bild und Auftrag ausgeben</translation>
    </message>
    <message>
        <source>job sheet, to look at and to keep</source>
        <translation>Auftragsblatt ansehen und aufheben</translation>
    </message>
    <message>
        <source>save now</source>
        <translation>jetzt speichern</translation>
    </message>
    <message>
        <source>take back</source>
        <translation>zurücknehmen</translation>
    </message>
    <message>
        <source>bring again</source>
        <translation>wiederholen</translation>
    </message>
    <message>
        <source>the job&apos;s steps</source>
        <translation>die Schritte des Auftrags</translation>
    </message>
    <message>
        <source>lock the open step, or unlock it</source>
        <translation>offenen Schritt sperren oder entsperren</translation>
    </message>
    <message>
        <source>to the picture, the ladder, the growth</source>
        <translation>zum Bild, zur Leiter, zum Zuwachs</translation>
    </message>
    <message>
        <source>next picture of the key, picture before</source>
        <translation>nächstes Bild des Schlüssels, voriges Bild</translation>
    </message>
    <message>
        <source>Ctrl+PgDown · Ctrl+PgUp</source>
        <translation>Ctrl+Bild ab · Ctrl+Bild auf</translation>
    </message>
    <message>
        <source>growth: all growths, or those near the evidence</source>
        <translation>Zuwachs: ganzer Bereich oder nahe an der Messung</translation>
    </message>
    <message>
        <source>mm, inch, thou</source>
        <translation>mm, Zoll, Tausendstel Zoll</translation>
    </message>
    <message>
        <source>read again</source>
        <translation>neu lesen</translation>
    </message>
    <message>
        <source>close</source>
        <translation>schließen</translation>
    </message>
    <message>
        <source>picture: next mark</source>
        <translation>Bild: nächste Marke</translation>
    </message>
    <message>
        <source>picture: move the mark 1 px, Shift 10, Alt 0.1</source>
        <translation>Bild: Marke um 1 px bewegen, Umschalt 10, Alt 0,1</translation>
    </message>
    <message>
        <source>arrows</source>
        <translation>Pfeile</translation>
    </message>
    <message>
        <source>Return · Backspace</source>
        <translation>Eingabe · Rücktaste</translation>
    </message>
    <message>
        <source>picture, marks one by one: set it, take it back</source>
        <translation>Bild, Marken einzeln: setzen, zurücknehmen</translation>
    </message>
    <message>
        <source>picture: lock the mark</source>
        <translation>Bild: Marke sperren</translation>
    </message>
    <message>
        <source>picture: read the mark as placed, or at the edge</source>
        <translation>Bild: Marke wie gesetzt lesen oder an der Kante</translation>
    </message>
    <message>
        <source>picture: all cuts by one spacing</source>
        <translation>Bild: alle Einschnitte um einen Abstand</translation>
    </message>
    <message>
        <source>picture: marks strong, pale, faint</source>
        <translation>Bild: Marken kräftig, blass, schwach</translation>
    </message>
    <message>
        <source>picture: square pixels or smooth</source>
        <translation>Bild: eckige Pixel oder geglättet</translation>
    </message>
    <message>
        <source>picture: find the mark again</source>
        <translation>Bild: Marke neu suchen</translation>
    </message>
    <message>
        <source>Delete</source>
        <translation>Entf</translation>
    </message>
    <message>
        <source>picture: hide the marks while held</source>
        <translation>Bild: Marken verbergen, solange gedrückt</translation>
    </message>
    <message>
        <source>picture: nearer, farther</source>
        <translation>Bild: näher, weiter weg</translation>
    </message>
    <message>
        <source>+ · - · wheel</source>
        <translation>+ · - · Rad</translation>
    </message>
    <message>
        <source>picture: blade, whole, one to one, to this cut</source>
        <translation>Bild: Halm, ganz, eins zu eins, zu diesem Einschnitt</translation>
    </message>
    <message>
        <source>picture: drag the view</source>
        <translation>Bild: Ansicht ziehen</translation>
    </message>
    <message>
        <source>Space, middle button</source>
        <translation>Leertaste, mittlere Taste</translation>
    </message>
    <message>
        <source>ladder: choose a rung; hold, rule out, clear</source>
        <translation>Leiter: Sprosse wählen; festhalten, ausschließen, freigeben</translation>
    </message>
    <message>
        <source>arrows, Return</source>
        <translation>Pfeile, Eingabe</translation>
    </message>
    <message>
        <source>growth: 0.01 mm, 0.1 mm</source>
        <translation>Zuwachs: 0,01 mm, 0,1 mm</translation>
    </message>
    <message>
        <source>arrows, Shift</source>
        <translation>Pfeile, Umschalt</translation>
    </message>
    <message>
        <source>growth: leave it to the evidence</source>
        <translation>Zuwachs: der Messung überlassen</translation>
    </message>
    <message>
        <source>put a notice aside</source>
        <translation>Hinweis weglegen</translation>
    </message>
    <message>
        <source>this sheet</source>
        <translation>dieses Blatt</translation>
    </message>
</context>
<context>
    <name>StepButton</name>
    <message>
        <source>done</source>
        <translation>erledigt</translation>
    </message>
    <message>
        <source>assumed</source>
        <translation>angenommen</translation>
    </message>
    <message>
        <source>waits</source>
        <translation>wartet</translation>
    </message>
    <message>
        <source>{0}, locked</source>
        <translation>{0}, gesperrt</translation>
    </message>
</context>
<context>
    <name>StepPanel</name>
    <message>
        <source>Unlock step</source>
        <translation>Schritt entsperren</translation>
    </message>
    <message>
        <source>Lock step</source>
        <translation>Schritt sperren</translation>
    </message>
    <message>
        <source>unlock this step (Ctrl+K)</source>
        <translation>diesen Schritt entsperren (Strg+K)</translation>
    </message>
    <message>
        <source>lock this step (Ctrl+K)</source>
        <translation>diesen Schritt sperren (Strg+K)</translation>
    </message>
    <message>
        <source>locked: nothing of this step changes by accident (Ctrl+K unlocks)</source>
        <translation>gesperrt: nichts an diesem Schritt ändert sich aus Versehen (Strg+K entsperrt)</translation>
    </message>
    <message>
        <source>keep this step from being changed by accident (Ctrl+K)</source>
        <translation>diesen Schritt vor versehentlicher Änderung schützen (Strg+K)</translation>
    </message>
</context>
<context>
    <name>TableEditor</name>
    <message>
        <source>Depth table from a chart</source>
        <translation>Tiefentabelle nach einer Vorlage</translation>
    </message>
    <message>
        <source>Use this table</source>
        <translation>Diese Tabelle verwenden</translation>
    </message>
    <message>
        <source>Save as a file…</source>
        <translation>Als Datei speichern …</translation>
    </message>
    <message>
        <source>Back without using it</source>
        <translation>Zurück, ohne sie zu verwenden</translation>
    </message>
    <message>
        <source>Name</source>
        <translation>Name</translation>
    </message>
    <message>
        <source>Designation</source>
        <translation>Bezeichnung</translation>
    </message>
    <message>
        <source>Source: which chart, or how measured</source>
        <translation>Quelle (Vorlage, Messung)</translation>
    </message>
    <message>
        <source>Largest step between neighbours</source>
        <translation>Größter Sprung</translation>
    </message>
    <message>
        <source>Numbers of cuts, where keys differ: 5, 6</source>
        <translation>Anzahlen (etwa 5, 6)</translation>
    </message>
    <message>
        <source>Root tolerance</source>
        <translation>Toleranz des Grundes</translation>
    </message>
    <message>
        <source>Position tolerance</source>
        <translation>Toleranz der Lage</translation>
    </message>
    <message>
        <source>Flat of the cutter</source>
        <translation>Grundbreite des Fräsers</translation>
    </message>
    <message>
        <source>Angle of the cutter, degrees</source>
        <translation>Winkel des Fräsers, Grad</translation>
    </message>
    <message>
        <source>Blade height</source>
        <translation>Halmhöhe</translation>
    </message>
    <message>
        <source>Blade length</source>
        <translation>Halmlänge</translation>
    </message>
    <message>
        <source>Blade thickness</source>
        <translation>Halmdicke</translation>
    </message>
    <message>
        <source>Confirmed by</source>
        <translation>Bestätigt von</translation>
    </message>
    <message>
        <source>Confirmed against chart</source>
        <translation>Bestätigt nach Vorlage</translation>
    </message>
    <message>
        <source>Kind of source</source>
        <translation>Art der Quelle</translation>
    </message>
    <message>
        <source>Edges</source>
        <translation>Kanten</translation>
    </message>
    <message>
        <source>Gauged from</source>
        <translation>Gemessen von</translation>
    </message>
    <message>
        <source>Root measured from</source>
        <translation>Grund gemessen von</translation>
    </message>
    <message>
        <source>Restricted: cut only with the authority&apos;s reference</source>
        <translation>Geschützt: nur mit Genehmigung</translation>
    </message>
    <message>
        <source>depth</source>
        <translation>Tiefe</translation>
    </message>
    <message>
        <source>root</source>
        <translation>Grund</translation>
    </message>
    <message>
        <source>Depths, shallowest first</source>
        <translation>Tiefen, die flachste zuerst</translation>
    </message>
    <message>
        <source>cut, bow first</source>
        <translation>Einschnitt, Reide zuerst</translation>
    </message>
    <message>
        <source>Cut positions, bow first</source>
        <translation>Lagen der Einschnitte, Reide zuerst</translation>
    </message>
    <message>
        <source>Depths: label and root height</source>
        <translation>Tiefen: Zeichen und Grundhöhe</translation>
    </message>
    <message>
        <source>Cut centres from the gauge point</source>
        <translation>Mitten der Einschnitte vom Bezugspunkt</translation>
    </message>
    <message>
        <source>From measured depth keys…</source>
        <translation>Aus Tiefenschlüsseln …</translation>
    </message>
    <message>
        <source>first</source>
        <translation>erste</translation>
    </message>
    <message>
        <source>step</source>
        <translation>Schritt</translation>
    </message>
    <message>
        <source>count</source>
        <translation>Anzahl</translation>
    </message>
    <message>
        <source>Fill evenly</source>
        <translation>Gleichmäßig füllen</translation>
    </message>
    <message>
        <source>Depth table from a chart; lengths in {0}</source>
        <translation>Tiefentabelle nach einer Vorlage; Längen in {0}</translation>
    </message>
    <message>
        <source>Save the table</source>
        <translation>Tabelle speichern</translation>
    </message>
    <message>
        <source>Depth tables (*.json)</source>
        <translation>Tiefentabellen (*.json)</translation>
    </message>
    <message>
        <source>The table could not be saved as {0}: {1}.</source>
        <translation>Die Tabelle konnte nicht als {0} gespeichert werden: {1}.</translation>
    </message>
</context>
<context>
    <name>TablePanel</name>
    <message>
        <source>Depth table</source>
        <translation>Tiefentabelle</translation>
    </message>
    <message>
        <source>Find a table</source>
        <translation>Tabelle suchen</translation>
    </message>
    <message>
        <source>Depth tables</source>
        <translation>Tiefentabellen</translation>
    </message>
    <message>
        <source>From a file…</source>
        <translation>Aus einer Datei …</translation>
    </message>
    <message>
        <source>Correct or confirm this table…</source>
        <translation>Tabelle berichtigen, bestätigen …</translation>
    </message>
    <message>
        <source>Enter a table from a chart…</source>
        <translation>Tabelle nach Vorlage eingeben …</translation>
    </message>
    <message>
        <source>Choose the table that the key was cut by.</source>
        <translation>Wählen Sie die Tabelle, nach der der Schlüssel gefräst wurde.</translation>
    </message>
    <message>
        <source>Open a depth table</source>
        <translation>Tiefentabelle öffnen</translation>
    </message>
    <message>
        <source>Depth tables (*.json)</source>
        <translation>Tiefentabellen (*.json)</translation>
    </message>
    <message>
        <source>unconfirmed</source>
        <translation>unbestätigt</translation>
    </message>
    <message>
        <source>restricted</source>
        <translation>geschützt</translation>
    </message>
    <message>
        <source>cannot be used</source>
        <translation>nicht brauchbar</translation>
    </message>
</context>
<context>
    <name>TrialPlanPart</name>
    <message>
        <source>Trial plan: cut and try in this order</source>
        <translation>Versuchsplan: in dieser Folge fräsen und probieren</translation>
    </message>
    <message>
        <source>Trials in their order</source>
        <translation>Versuche in ihrer Folge</translation>
    </message>
    <message>
        <source>It opens</source>
        <translation>Schließt</translation>
    </message>
    <message>
        <source>It does not open</source>
        <translation>Schließt nicht</translation>
    </message>
    <message>
        <source>Looking for the order that spends the fewest blanks.</source>
        <translation>Die Folge mit den wenigsten Rohlingen wird gesucht.</translation>
    </message>
    <message>
        <source>The plan stands here once there is a code.</source>
        <translation>Hier steht der Plan, sobald es einen Code gibt.</translation>
    </message>
    <message>
        <source>Blanks: {0} on average, {2} at most. Trials: {1} on average.</source>
        <translation>Rohlinge: im Mittel {0}, höchstens {2}. Versuche: im Mittel {1}.</translation>
    </message>
    <message>
        <source>blank {0}: cut {1}</source>
        <translation>Rohling {0}: {1} fräsen</translation>
    </message>
    <message>
        <source>blank {0}: deepen all cuts to {1}</source>
        <translation>Rohling {0}: alle Einschnitte vertiefen zu {1}</translation>
    </message>
    <message>
        <source>blank {0}: deepen cut {1} to {2}</source>
        <translation>Rohling {0}: Einschnitt {1} vertiefen zu {2}</translation>
    </message>
    <message>
        <source>opens with {0}</source>
        <translation>schließt mit {0}</translation>
    </message>
    <message>
        <source>opened</source>
        <translation>hat geschlossen</translation>
    </message>
    <message>
        <source>tried, did not open</source>
        <translation>versucht, schließt nicht</translation>
    </message>
</context>
<context>
    <name>WorkNotice</name>
    <message>
        <source>Stop</source>
        <translation>Anhalten</translation>
    </message>
</context>
<context>
    <name>actions</name>
    <message>
        <source>Open a picture…</source>
        <translation>Bild öffnen …</translation>
    </message>
    <message>
        <source>Open a job folder…</source>
        <translation>Auftragsordner öffnen …</translation>
    </message>
    <message>
        <source>Open a sealed job…</source>
        <translation>Versiegelten Auftrag öffnen …</translation>
    </message>
    <message>
        <source>Kept jobs…</source>
        <translation>Aufgehobene Aufträge …</translation>
    </message>
    <message>
        <source>Paste a picture</source>
        <translation>Bild einfügen</translation>
    </message>
    <message>
        <source>Try the demo job</source>
        <translation>Beispielauftrag ansehen</translation>
    </message>
    <message>
        <source>New job</source>
        <translation>Neuer Auftrag</translation>
    </message>
    <message>
        <source>Save now</source>
        <translation>Jetzt speichern</translation>
    </message>
    <message>
        <source>Export picture and job…</source>
        <translation>Bild und Auftrag ausgeben …</translation>
    </message>
    <message>
        <source>Seal with a passphrase…</source>
        <translation>Mit Kennsatz versiegeln …</translation>
    </message>
    <message>
        <source>Keep until…</source>
        <translation>Aufheben bis …</translation>
    </message>
    <message>
        <source>Forget this job…</source>
        <translation>Diesen Auftrag vergessen …</translation>
    </message>
    <message>
        <source>Job sheet…</source>
        <translation>Auftragsblatt …</translation>
    </message>
    <message>
        <source>Light-test template…</source>
        <translation>Schablone für die Lichtprobe …</translation>
    </message>
    <message>
        <source>Label for the key tag…</source>
        <translation>Etikett für den Schlüsselanhänger …</translation>
    </message>
    <message>
        <source>Reduction on a copier…</source>
        <translation>Verkleinern am Kopierer…</translation>
    </message>
    <message>
        <source>Undo</source>
        <translation>Zurücknehmen</translation>
    </message>
    <message>
        <source>Redo</source>
        <translation>Wiederholen</translation>
    </message>
    <message>
        <source>Next unit</source>
        <translation>Nächste Einheit</translation>
    </message>
    <message>
        <source>All keys</source>
        <translation>Alle Tasten</translation>
    </message>
    <message>
        <source>Read again</source>
        <translation>Neu lesen</translation>
    </message>
    <message>
        <source>Job menu</source>
        <translation type="unfinished">Auftragsmenü</translation>
    </message>
    <message>
        <source>Lock or unlock the open step</source>
        <translation>Offenen Schritt sperren oder entsperren</translation>
    </message>
    <message>
        <source>To the picture</source>
        <translation>Zum Bild</translation>
    </message>
    <message>
        <source>To the ladder</source>
        <translation>Zur Leiter</translation>
    </message>
    <message>
        <source>To the growth</source>
        <translation>Zum Zuwachs</translation>
    </message>
    <message>
        <source>Next picture</source>
        <translation>Nächstes Bild</translation>
    </message>
    <message>
        <source>Picture before</source>
        <translation>Voriges Bild</translation>
    </message>
    <message>
        <source>Mouse wheel zooms without Ctrl</source>
        <translation>Mausrad vergrößert ohne Strg</translation>
    </message>
    <message>
        <source>Close</source>
        <translation>Schließen</translation>
    </message>
    <message>
        <source>Put the notice aside</source>
        <translation>Hinweis weglegen</translation>
    </message>
</context>
<context>
    <name>words</name>
    <message>
        <source>root of cut {0}</source>
        <translation>Grund von Einschnitt {0}</translation>
    </message>
    <message>
        <source>back, end {0}</source>
        <translation>Rücken, Ende {0}</translation>
    </message>
    <message>
        <source>blade height, lower end</source>
        <translation>Halmhöhe, unteres Ende</translation>
    </message>
    <message>
        <source>blade height, upper end</source>
        <translation>Halmhöhe, oberes Ende</translation>
    </message>
    <message>
        <source>centreline, end {0}</source>
        <translation>Mittellinie, Ende {0}</translation>
    </message>
    <message>
        <source>size reference, corner {0}</source>
        <translation>Größenbezug, Ecke {0}</translation>
    </message>
    <message>
        <source>tip</source>
        <translation>Spitze</translation>
    </message>
    <message>
        <source>shoulder</source>
        <translation>Anschlag</translation>
    </message>
    <message>
        <source>cut spacing</source>
        <translation>Abstand der Einschnitte</translation>
    </message>
    <message>
        <source>blade height</source>
        <translation>Halmhöhe</translation>
    </message>
    <message>
        <source>blade length</source>
        <translation>Halmlänge</translation>
    </message>
    <message>
        <source>the file&apos;s dpi claim</source>
        <translation>dpi-Angabe der Datei</translation>
    </message>
    <message>
        <source>card</source>
        <translation>Karte</translation>
    </message>
    <message>
        <source>page</source>
        <translation>Seite</translation>
    </message>
    <message>
        <source>marked length</source>
        <translation>markierte Länge</translation>
    </message>
    <message>
        <source>{0} at {1}: {2}</source>
        <translation>{0} bei {1}: {2}</translation>
    </message>
    <message>
        <source>{0} at {1}: {2}, measured {3}, {4}</source>
        <translation>{0} bei {1}: {2}, gemessen {3}, {4}</translation>
    </message>
    <message>
        <source>cut {0}</source>
        <translation>Einschnitt {0}</translation>
    </message>
    <message>
        <source>cut {0} of the upper edge</source>
        <translation>Einschnitt {0} der oberen Kante</translation>
    </message>
    <message>
        <source>cut {0} of the lower edge</source>
        <translation>Einschnitt {0} der unteren Kante</translation>
    </message>
</context>
</TS>
