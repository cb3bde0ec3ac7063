package rates

import "testing"

// FuzzRead: no published rate file breaks its reader; a rate that is given can be
// written as an entry.
func FuzzRead(f *testing.F) {
	f.Add([]byte(urdb("")))
	f.Add([]byte(`{"items":[` + urdb(`,"fixedchargefirstmeter":3,"fixedchargeunits":"$/day"`) + `]}`))
	f.Add([]byte(`{"data":{"planId":"P","electricityContract":{"pricingModel":"SINGLE_RATE","tariffPeriod":[{"rateBlockUType":"singleRate","singleRate":{"rates":[{"unitPrice":"0.30"}]},"dailySupplyCharge":"1.00"}]}}}`))
	f.Add([]byte(`"{\"data\":[]}"`))
	f.Fuzz(func(t *testing.T, text []byte) {
		all, err := Read("f.json", text, Answers{})
		if err == nil && len(all) == 0 {
			t.Error("nothing was read and nothing is wrong")
		}
		for i := range all {
			all[i].Entry(0)
		}
	})
}
